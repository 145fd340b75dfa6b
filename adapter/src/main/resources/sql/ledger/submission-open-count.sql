SELECT COUNT(*) FROM submission WHERE state <> 'refined'
