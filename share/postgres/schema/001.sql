-- The shared record of many benches. Its owner makes it with "evenpole share init".
--
-- entry holds all that benches shared. It only grows: a bench may read all of it and append
-- under its own name, and nobody may change or delete a row, its owner included.

create schema evenpole;

create table evenpole.version (
	version int primary key,
	oldest  int not null, -- a program that knows no newer version than this may still share
	at      timestamptz not null default now()
);

create table evenpole.bench (
	name   text primary key check (name ~ '^[a-z][a-z0-9]*(-[a-z0-9]+)*$' and length(name) <= 40),
	role   text not null, -- of the database, that appends under this name
	joined timestamptz not null default now(),
	closed timestamptz    -- since when it may append no more
);

create table evenpole.entry (
	bench  text not null references evenpole.bench,
	stream text not null check (stream in ('documents', 'sessions', 'readings', 'fields', 'readings.seals', 'fields.seals')),
	n      bigint not null check (n > 0), -- from 1, without gaps
	chain  text not null,
	cells  text not null check (octet_length(cells) between 2 and 1048576), -- a JSON object of texts
	at     timestamptz not null default now(),
	primary key (bench, stream, n)
);

-- The chain of no entry, and of entry n after the one before it: see the package comment of
-- evenpole/share.
create function evenpole.start(bench text, stream text) returns text
	language sql immutable strict parallel safe
	return substr(encode(sha256(convert_to('evenpole share 1' || chr(10) || bench || chr(10) || stream, 'UTF8')), 'hex'), 1, 32);

create function evenpole.next(before text, n bigint, cells text) returns text
	language sql immutable strict parallel safe
	return substr(encode(sha256(convert_to(before || chr(10) || n || chr(10) || cells, 'UTF8')), 'hex'), 1, 32);

create function evenpole.refuse() returns trigger
	language plpgsql set search_path = pg_catalog, pg_temp as $$
begin
	raise exception 'the shared record only grows: % is refused', tg_op using errcode = 'insufficient_privilege';
end $$;

create trigger only_grows before update or delete or truncate on evenpole.entry
	for each statement execute function evenpole.refuse();

create function evenpole.follow() returns trigger
	language plpgsql set search_path = pg_catalog, pg_temp as $$
declare
	bad record;
begin
	select a.bench, a.stream, a.n into bad
	from added a left join evenpole.entry b on b.bench = a.bench and b.stream = a.stream and b.n = a.n - 1
	where a.chain is distinct from evenpole.next(case when a.n = 1 then evenpole.start(a.bench, a.stream) else b.chain end, a.n, a.cells)
	order by a.bench, a.stream, a.n limit 1;
	if found then
		raise exception '% % of bench % does not follow from the entry before it', bad.stream, bad.n, bad.bench using errcode = 'integrity_constraint_violation';
	end if;
	return null;
end $$;

create trigger follows after insert on evenpole.entry
	referencing new table as added for each statement execute function evenpole.follow();

do $$
begin
	if not exists (select from pg_catalog.pg_roles where rolname = 'evenpole_bench') then
		create role evenpole_bench nologin;
	end if;
end $$;

revoke all on schema evenpole from public;
revoke all on all tables in schema evenpole from public;
grant usage on schema evenpole to evenpole_bench;
grant select on evenpole.version, evenpole.bench, evenpole.entry to evenpole_bench;
grant insert (bench, stream, n, chain, cells) on evenpole.entry to evenpole_bench;

alter table evenpole.entry enable row level security;
alter table evenpole.entry force row level security;
create policy reads on evenpole.entry for select using (true);
create policy appends on evenpole.entry for insert to evenpole_bench
	with check (bench in (select b.name from evenpole.bench b where b.role = current_user and b.closed is null));

insert into evenpole.version (version, oldest) values (1, 1);
