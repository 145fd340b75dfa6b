UPDATE submission SET answer = :answer WHERE id = :submission
