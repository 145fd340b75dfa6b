DELETE FROM destination WHERE name = '-probe-'
