-- 0006: a visit is ticked off at the machine, by several keepers at once, on phones that lose their connection. What they
-- tick is no part of the record until the visit is booked; it stands beside it, is only ever added, and the latest word on a
-- task holds. `key` is made by the device, so that what is sent twice counts once.

create table mark (
    id integer primary key,
    visit bigint not null references entry (id),
    key text not null,
    task text not null,
    kind text not null,
    about text not null,
    text text not null,
    made_by text,
    at bigint not null,
    unique (visit, key, kind, about)
);

-- `place` counts the photos of a visit from 1 on; that it is unique keeps two devices from passing the limit together.
create table photo (
    id integer primary key,
    visit bigint not null references entry (id),
    place bigint not null,
    key text not null,
    task text not null,
    kind text not null,
    bytes blob not null,
    made_by text,
    at bigint not null,
    unique (visit, place),
    unique (visit, key)
);
