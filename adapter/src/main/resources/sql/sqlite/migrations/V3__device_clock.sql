-- What arrivals taught about the clocks of devices. One row for each device and hour of arrival; times and
-- lengths in milliseconds. All of it can be computed anew from the entries.
CREATE TABLE device_clock (
  device_serial TEXT    NOT NULL,
  hour          INTEGER NOT NULL,                -- when it begins
  results       INTEGER NOT NULL,                -- how many arrived
  least         INTEGER NOT NULL,                -- the shortest time from a scan to its arrival; negative: the clock was ahead
  PRIMARY KEY (device_serial, hour)
) WITHOUT ROWID;
