SELECT mapping, number, sha256, at, actor, why FROM mapping_version WHERE mapping = :mapping ORDER BY number DESC LIMIT :limit
