SELECT seq, detail FROM trail WHERE seq > :after AND event = 'log-level' ORDER BY seq DESC LIMIT 1
