SELECT hash FROM trail WHERE seq = :seq
