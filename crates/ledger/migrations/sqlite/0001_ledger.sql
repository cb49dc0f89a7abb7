-- 0001: the first shape of a shop. `entry` is the record; everything below the line "derived" can be computed from it
-- again and is kept only so that nobody has to wait. Instants are microseconds since 1970-01-01T00:00:00Z. Binary
-- columns are described in src/codec.rs; they name quantities and materials by the ids of the two tables of names.
-- The twin of this file for the other engine differs in types and triggers alone.

create table shop (
    id integer primary key check (id = 1),
    name text not null,
    zone text not null
);

create table quantity (id integer primary key, name text not null unique, unit text not null);
create table material_name (id integer primary key, name text not null unique);

-- A build or material that is described anew gets a new row; the newest of a name holds.
create table build (id integer primary key, name text not null, text text not null, recorded bigint not null);
create index build_by_name on build (name);
create table material (
    id integer primary key,
    name text not null,
    density_kg_m3 double not null,
    classes text not null,
    recorded bigint not null
);
create index material_by_name on material (name);

-- `revision` changes with every entry: whoever writes locks the row by raising it, and a reader sees that there is news.
-- The last three columns are derived; they are null while no effective entry says that the machine joined.
create table machine (
    id integer primary key,
    name text not null unique,
    revision bigint not null default 0,
    build text,
    added_at bigint,
    added_entry bigint
);

create table entry (
    id integer primary key,
    machine bigint not null references machine (id),
    kind text not null,
    at bigint not null,
    recorded bigint not null,
    corrects bigint references entry (id),
    about text not null,
    body text not null,
    note text not null,
    usage blob
);
create index entry_by_machine on entry (machine, at);
create index entry_by_time on entry (at);
create index entry_corrections on entry (machine) where corrects is not null;

create trigger entry_is_never_edited before update on entry
begin
    select raise(abort, 'an entry is never edited; correct it with a new one');
end;
create trigger entry_is_never_lost before delete on entry
begin
    select raise(abort, 'an entry is never deleted; withdraw it with a new one');
end;

-- What a program asks of a build's motion, so that the hundredth run of a file costs nothing.
create table program (
    sha256 text not null,
    motion text not null,
    corner text not null,
    meter bigint not null,
    label text not null,
    bytes bigint not null,
    duty blob not null,
    report text not null,
    maps blob not null,
    primary key (sha256, motion, corner, meter)
);

-- derived ------------------------------------------------------------------------------------------------------------

-- One row per effective run: the same start on the same machine with the same program counts once.
create table run_key (
    machine bigint not null references machine (id),
    at bigint not null,
    what text not null,
    entry bigint not null,
    primary key (machine, at, what)
) without rowid;

-- Runs that are expected and have not been fulfilled.
create table queued (entry integer primary key references entry (id), machine bigint not null references machine (id));
create index queued_by_machine on queued (machine);

-- Use per day, a calendar month to the row (`month` = year * 12 + month - 1): thousands of machines' recent days are
-- then few rows to read. The month comes first in the key because lists read a span of months of every machine.
create table daily (
    month bigint not null,
    machine bigint not null references machine (id),
    days blob not null,
    primary key (month, machine)
);
create index daily_by_machine on daily (machine, month);

-- When each task was last done and each part last replaced, and the use up to then; `newest` is the last such instant.
create table standing (
    machine integer primary key references machine (id),
    newest bigint not null,
    marks blob not null
);

create table total (machine integer primary key references machine (id), usage blob not null);
