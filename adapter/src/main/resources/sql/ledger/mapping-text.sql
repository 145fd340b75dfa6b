SELECT text FROM mapping_version WHERE mapping = :mapping AND number = :number
