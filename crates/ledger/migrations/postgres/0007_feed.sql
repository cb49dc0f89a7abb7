-- 0007: a calendar program can't sign in, so it reads a keeper's visits by a private link. The link must be shown again to whoever
-- sets up another program, so its secret stands here as it is. It opens nothing but the visits, and can be renewed and taken back.
create table feed (
    keeper text not null primary key,
    secret text not null unique,
    made bigint not null
);
