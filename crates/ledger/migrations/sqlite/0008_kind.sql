-- 0008: lists look for the few entries of one kind among a million others, newest first, whatever they are about.
create index entry_of_kind_by_time on entry (kind, at) where kind <> 'run';
