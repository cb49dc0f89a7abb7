-- 0012: several servers answer for one shop, and nobody can say which of them somebody reaches next, so that nothing which somebody
-- waits for may be known to one of them alone. A plan that was asked for stands in `proposal` until people are told of it or it is
-- left: the server that seeks it holds it until an instant and moves that on meanwhile, as a worker holds a job, so that one that dies
-- keeps nobody from asking again. `body` is the last plan that was made, readable JSON with all that a page shows of it and that
-- telling people needs; `number` rises with each that is asked for. Tries to sign in are counted in `sign_in_try` by name and by
-- address, and forgotten after a while. None of it is part of the record.

-- There is one at a time. `stands` is sought, made, failed or left; `said` tells why one failed.
create table proposal (
    id bigint primary key check (id = 1),
    number bigint not null,
    days bigint not null,
    seconds bigint not null,
    asked bigint not null,
    asked_by text,
    stands text not null,
    held_until bigint not null,
    said text not null default '',
    made bigint,
    body text
);

create table sign_in_try (who text not null primary key, failed bigint not null, tried bigint not null);
create index sign_in_try_by_time on sign_in_try (tried);

-- A file that turns up tells more of runs that were estimated, few among all that a machine ran.
create index entry_run_apart on entry (machine, at) where kind = 'run' and alike is null;
