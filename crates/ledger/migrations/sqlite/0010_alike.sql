-- 0010: a hall of ten thousand machines keeps tens of millions of runs, most of them of files that were run before. What such runs
-- say alike, their program, materials and use, stands once, in `alike`, and an entry names its row; what was written before
-- stays where it is. Rows are looked for by their hash, which need not be unique: two writers at once may write the same row.
-- Like an entry, a row is never edited or deleted, so nothing is gained by a foreign key, which would lock the row of a file
-- that all machines run with every run.
create table alike (
    id integer primary key,
    hash bigint not null,
    body text not null,
    usage blob not null
);
create index alike_by_hash on alike (hash);
alter table entry add column alike bigint;

-- `besides_runs` rises as `revision` does, but for runs: what follows from other entries alone (stores, visits, faults) need not
-- be read anew with every run.
alter table machine add column besides_runs bigint not null default 0;

create trigger alike_is_never_edited before update on alike
begin
    select raise(abort, 'an entry is never edited; correct it with a new one');
end;
create trigger alike_is_never_lost before delete on alike
begin
    select raise(abort, 'an entry is never deleted; withdraw it with a new one');
end;

-- derived ------------------------------------------------------------------------------------------------------------

-- That a run counts once is seen by its entry itself, which `entry_by_machine` finds at its instant; whoever books holds the
-- machine's row, so nobody else books the same run meanwhile. A row and a key for each run were a third of a hall's size.
drop table run_key;
