UPDATE entry SET overlay = :overlay WHERE id = :entry
