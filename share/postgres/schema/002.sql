-- Readings and field readings by columns, for people who ask the database themselves. A
-- number that a row lacks is null. Rows stand here as they were shared: those that were taken
-- back, too.

create view evenpole.readings with (security_invoker = true) as
	select e.bench, e.n as row, nullif(c ->> 'time', '')::timestamptz as "time", c ->> 'session' as session, c ->> 'purpose' as purpose,
		c ->> 'jig' as jig, c ->> 'boot' as boot, (c ->> 'seq')::bigint as seq, c ->> 'pickup' as pickup, c ->> 'batch' as batch,
		(c ->> 'string')::int as string, c ->> 'string_set' as string_set, (c ->> 'core_mm')::float8 as core_mm, (c ->> 'gauge_mm')::float8 as gauge_mm,
		c ->> 'wrap' as wrap, (c ->> 'pole_height_mm')::float8 as pole_height_mm, (c ->> 'string_height_mm')::float8 as string_height_mm,
		c ->> 'mode' as mode, (c ->> 'take')::int as take, (c ->> 'rms_mv')::float8 as rms_mv, (c ->> 'peak_mv')::float8 as peak_mv,
		(c ->> 'freq_hz')::float8 as freq_hz, (c ->> 'window_ms')::float8 as window_ms, (c ->> 'quiet_mv')::float8 as quiet_mv,
		c ->> 'excite' as excite, coalesce(c ->> 'status', 'ok') as status, c ->> 'note' as note
	from evenpole.entry e, lateral (select e.cells::json as c) as j
	where e.stream = 'readings';

create view evenpole.fields with (security_invoker = true) as
	select e.bench, e.n as row, nullif(c ->> 'time', '')::timestamptz as "time", c ->> 'session' as session,
		c ->> 'jig' as jig, c ->> 'boot' as boot, (c ->> 'seq')::bigint as seq, c ->> 'batch' as batch, c ->> 'magnet' as magnet,
		c ->> 'pickup' as pickup, (c ->> 'string')::int as string, (c ->> 'position')::int as position, (c ->> 'take')::int as take,
		(c ->> 'field_mt')::float8 as field_mt, (c ->> 'probe_gap_mm')::float8 as probe_gap_mm,
		coalesce(c ->> 'status', 'ok') as status, c ->> 'note' as note
	from evenpole.entry e, lateral (select e.cells::json as c) as j
	where e.stream = 'fields';

grant select on evenpole.readings, evenpole.fields to evenpole_bench;

insert into evenpole.version (version, oldest) values (2, 1);
