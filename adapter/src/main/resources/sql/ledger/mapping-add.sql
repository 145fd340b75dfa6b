INSERT INTO mapping_version (mapping, number, sha256, text, at, actor, why)
VALUES (:mapping, :number, :sha256, :text, :at, :actor, :why)
