-- Changes a page of the store for the sake of it; the next statement of the transaction takes it back.
INSERT INTO destination (name, state, since, next_try_at) VALUES ('-probe-', 'open', ?, 0)
