SELECT MAX(received_at) AS latest FROM entry WHERE source = :source
