-- 0003: a shop records facts of its own, such as what an hour of labour costs it, and lists look for the few failures among
-- a million runs.
--
-- What is of the shop itself stands in `entry` too, so that its numbers, corrections and withdrawals, and the rule that
-- nothing is edited, are those of every other entry. It hangs on row 0 of `machine`, which has no name, as no machine may,
-- and never joins: who writes locks that row, and its chain of corrections is followed, as with a machine. Letting
-- `entry.machine` be null instead would mean copying the whole record on one of the two engines, and a second kind of lock.
insert into machine (id, name) values (0, '');

-- Runs are most of the entries, are never looked for by kind, and are left out.
create index entry_by_kind on entry (kind, about, machine, at) where kind <> 'run';
