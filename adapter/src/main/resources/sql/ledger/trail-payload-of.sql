SELECT payload FROM trail_payload WHERE seq = :seq
