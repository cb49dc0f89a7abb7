-- 0002: a shop's own limits. An entry may give a task of one machine a limit other than its build's; lists must not read
-- every entry to find the few that do.

-- derived ------------------------------------------------------------------------------------------------------------

create table own_limit (entry bigint primary key references entry (id), machine bigint not null references machine (id));
create index own_limit_by_machine on own_limit (machine);
