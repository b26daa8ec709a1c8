-- The columns that readings were given since: what is under the strings, and a second coil's.
-- Sessions by columns, with who captured; a hold without a session ends the one before it.

create or replace view evenpole.readings with (security_invoker = true) as
	select e.bench, e.n as row, nullif(c ->> 'time', '')::timestamptz as "time", c ->> 'session' as session, c ->> 'purpose' as purpose,
		c ->> 'jig' as jig, c ->> 'boot' as boot, (c ->> 'seq')::bigint as seq, c ->> 'pickup' as pickup, c ->> 'batch' as batch,
		(c ->> 'string')::int as string, c ->> 'string_set' as string_set, (c ->> 'core_mm')::float8 as core_mm, (c ->> 'gauge_mm')::float8 as gauge_mm,
		c ->> 'wrap' as wrap, (c ->> 'pole_height_mm')::float8 as pole_height_mm, (c ->> 'string_height_mm')::float8 as string_height_mm,
		c ->> 'mode' as mode, (c ->> 'take')::int as take, (c ->> 'rms_mv')::float8 as rms_mv, (c ->> 'peak_mv')::float8 as peak_mv,
		(c ->> 'freq_hz')::float8 as freq_hz, (c ->> 'window_ms')::float8 as window_ms, (c ->> 'quiet_mv')::float8 as quiet_mv,
		c ->> 'excite' as excite, coalesce(c ->> 'status', 'ok') as status, c ->> 'note' as note,
		c ->> 'under' as under, (c ->> 'pole_height_2_mm')::float8 as pole_height_2_mm, (c ->> 'coil_2_gain')::float8 as coil_2_gain
	from evenpole.entry e, lateral (select e.cells::json as c) as j
	where e.stream = 'readings';

create view evenpole.sessions with (security_invoker = true) as
	select e.bench, e.n as row, nullif(c ->> 'time', '')::timestamptz as "time", c ->> 'session' as session, c ->> 'purpose' as purpose, c ->> 'kind' as kind,
		c ->> 'jig' as jig, c ->> 'boot' as boot, (c ->> 'after_seq')::bigint as after_seq, c ->> 'pickup' as pickup, c ->> 'mount' as mount, c ->> 'operator' as operator
	from evenpole.entry e, lateral (select e.cells::json as c) as j
	where e.stream = 'sessions';

grant select on evenpole.sessions to evenpole_bench;

insert into evenpole.version (version, oldest) values (3, 1);
