SELECT ordinal FROM entry WHERE submission_id = :submission AND ordinal BETWEEN :first AND :last
