SELECT * FROM entry WHERE state = 'delivered' ORDER BY id DESC LIMIT :limit
