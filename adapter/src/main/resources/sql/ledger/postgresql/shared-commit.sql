SELECT current_setting('synchronous_commit')
