-- 0013: what a machine does between two readings of its hour meter is forecast from the readings, which are few among the entries of
-- a machine and are looked for whenever it is.
create index hour_meter_by_machine on entry (machine, at) where kind = 'hour meter';
