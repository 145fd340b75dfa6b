SELECT salt, payload FROM trail_payload WHERE seq = :seq
