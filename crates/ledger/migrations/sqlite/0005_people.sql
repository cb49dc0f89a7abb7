-- 0005: a shop that others can reach asks who is there. People, where they are signed in, and what machines may book by
-- themselves are no part of the record: they come and go, and nothing of them stands in `entry` but the name of whoever
-- recorded it. Passwords are kept as Argon2id makes them; of tokens only the SHA-256 is kept, in hexadecimal, which tells
-- nobody the token.

-- Who recorded an entry; null where nobody had been asked, as for every entry of before.
alter table entry add column recorded_by text;

create table person (
    id integer primary key,
    name text not null unique,
    role text not null,
    password text not null,
    since bigint not null
);

-- `former` is the token that was valid before the last renewal: a browser that asked for several things at once may still
-- send it for a while.
create table session (
    id integer primary key,
    person bigint not null references person (id),
    token text not null unique,
    former text,
    device text not null,
    started bigint not null,
    renewed bigint not null,
    seen bigint not null
);
create index session_by_person on session (person);
create index session_by_former on session (former) where former is not null;

create table machine_token (
    id integer primary key,
    machine bigint not null references machine (id),
    token text not null unique,
    label text not null,
    made bigint not null,
    used bigint
);
