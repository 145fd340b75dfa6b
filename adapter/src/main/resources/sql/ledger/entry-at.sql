SELECT * FROM entry WHERE submission_id = :submission AND ordinal = :ordinal
