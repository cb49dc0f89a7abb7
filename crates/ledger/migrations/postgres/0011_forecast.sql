-- 0011: how a machine is foreseen on a day is reckoned once for all servers: by a worker before the day begins, or by the server
-- that needed it first. A row holds while the machine's revision, the number of descriptions (of builds and materials) and the
-- program's version are those with which it was reckoned; else it is reckoned again. It is no part of the record.

create table forecast (
    machine bigint not null primary key references machine (id),
    day bigint not null,
    revision bigint not null,
    descriptions bigint not null,
    made_by text not null,
    body bytea not null
);
