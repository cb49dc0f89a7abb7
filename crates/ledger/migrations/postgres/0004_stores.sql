-- 0004: what is in the stores depends on the care given since each item was last counted, in the whole shop: among a million
-- runs the few tasks done and parts replaced of some months must be found by their time.
create index entry_given_by_time on entry (at) where kind in ('done', 'replaced');
