SELECT current_setting('fsync')
