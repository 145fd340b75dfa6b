SELECT COALESCE(current_setting('cistern.writes', true), 'off')
