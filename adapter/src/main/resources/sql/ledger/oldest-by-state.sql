SELECT MIN(changed_at) AS oldest FROM entry WHERE state = :state
