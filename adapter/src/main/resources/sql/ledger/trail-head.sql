SELECT seq, hash FROM trail ORDER BY seq DESC LIMIT 1
