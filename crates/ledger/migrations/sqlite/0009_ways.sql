-- 0009: runs come in by themselves. A way in is set up once: a folder that is watched, a broker of messages, a table of print
-- history; `settings` is readable JSON. What came in and takes time to book stands in `job` from the moment that it is
-- acknowledged until a worker has done it; `key` tells what it is about, so that what comes twice is one job. A worker holds a
-- job until an instant and moves that on while it works, so that a job whose worker died is given to another. None of it is part
-- of the record, and done jobs are forgotten after a while.

create table way (name text not null primary key, kind text not null, settings text not null, made bigint not null);

-- What a way in must know again when it is started anew: which file it took, which run a machine is at.
create table way_mark (
    way text not null,
    key text not null,
    mark text not null,
    at bigint not null,
    primary key (way, key)
);

-- `held_by` is empty while nobody works on it; `due` is when it may be tried next; `done` and `failed` are null until it is over.
create table job (
    id integer primary key,
    kind text not null,
    key text not null unique,
    body text not null,
    made_by text,
    made bigint not null,
    due bigint not null,
    tries bigint not null default 0,
    held_by text not null default '',
    held_until bigint not null default 0,
    done bigint,
    said text not null default '',
    failed bigint
);
create index job_open on job (due, id) where done is null and failed is null;
create index job_over on job (done) where done is not null;
