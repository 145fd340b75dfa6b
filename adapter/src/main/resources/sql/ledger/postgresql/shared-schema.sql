SELECT COALESCE(current_schema(), '')
