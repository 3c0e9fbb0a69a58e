-- owns: nothing

-- name: read_server
-- The server, and whether the application's role is there and bound; on the owner's connection.
SELECT current_setting('server_version') AS version,
       current_setting('server_version_num')::integer / 10000 AS major_version,
       current_setting('server_encoding') AS encoding,
       r.oid IS NOT NULL AS has_role,
       coalesce(NOT r.rolsuper AND NOT r.rolbypassrls
                AND NOT EXISTS (SELECT FROM pg_class WHERE relowner = r.oid), false) AS role_is_bound,
       coalesce(pg_has_role(current_user, r.oid, 'MEMBER'), false) AS may_take_role,
       coalesce(has_database_privilege(r.oid, current_database(), 'TEMPORARY'), false) AS may_stage
FROM (VALUES (1)) AS one (row)
LEFT JOIN pg_roles r ON r.rolname = 'jointwright_app';

-- name: set_as_hashed
-- The settings under which rows were hashed, for the rest of the transaction.
SELECT set_config('timezone', 'UTC', true), set_config('bytea_output', 'hex', true),
       set_config('extra_float_digits', '1', true);

-- name: count_make_up
-- How many rows this site's ledger has.
SELECT count(*) FROM make_up WHERE site_id = current_site();

-- name: list_breaks_of_make_up
-- The first rows that do not hash to their hash, or do not follow the row before them.
SELECT 'make_up' AS ledger, row_id, CASE WHEN hash = computed THEN 'unchained' ELSE 'changed' END AS fault
FROM (SELECT make_up_id AS row_id, hash, previous_hash,
             sha256(convert_to(jsonb_strip_nulls(to_jsonb(l) - 'hash')::text, 'UTF8')) AS computed,
             lag(hash, 1, decode(repeat('0', 64), 'hex')) OVER (ORDER BY make_up_id) AS hash_before
      FROM make_up l
      WHERE site_id = current_site()) AS chained
WHERE hash <> computed OR previous_hash <> hash_before
ORDER BY row_id
LIMIT %(most)s;

-- name: count_check_result
-- How many rows this site's ledger has.
SELECT count(*) FROM check_result WHERE site_id = current_site();

-- name: list_breaks_of_check_result
-- The first rows that do not hash to their hash, or do not follow the row before them.
SELECT 'check_result' AS ledger, row_id, CASE WHEN hash = computed THEN 'unchained' ELSE 'changed' END AS fault
FROM (SELECT check_result_id AS row_id, hash, previous_hash,
             sha256(convert_to(jsonb_strip_nulls(to_jsonb(l) - 'hash')::text, 'UTF8')) AS computed,
             lag(hash, 1, decode(repeat('0', 64), 'hex')) OVER (ORDER BY check_result_id) AS hash_before
      FROM check_result l
      WHERE site_id = current_site()) AS chained
WHERE hash <> computed OR previous_hash <> hash_before
ORDER BY row_id
LIMIT %(most)s;

-- name: count_leak
-- How many rows this site's ledger has.
SELECT count(*) FROM leak WHERE site_id = current_site();

-- name: list_breaks_of_leak
-- The first rows that do not hash to their hash, or do not follow the row before them.
SELECT 'leak' AS ledger, row_id, CASE WHEN hash = computed THEN 'unchained' ELSE 'changed' END AS fault
FROM (SELECT leak_id AS row_id, hash, previous_hash,
             sha256(convert_to(jsonb_strip_nulls(to_jsonb(l) - 'hash')::text, 'UTF8')) AS computed,
             lag(hash, 1, decode(repeat('0', 64), 'hex')) OVER (ORDER BY leak_id) AS hash_before
      FROM leak l
      WHERE site_id = current_site()) AS chained
WHERE hash <> computed OR previous_hash <> hash_before
ORDER BY row_id
LIMIT %(most)s;

-- name: count_leak_step
-- How many rows this site's ledger has.
SELECT count(*) FROM leak_step WHERE site_id = current_site();

-- name: list_breaks_of_leak_step
-- The first rows that do not hash to their hash, or do not follow the row before them.
SELECT 'leak_step' AS ledger, row_id, CASE WHEN hash = computed THEN 'unchained' ELSE 'changed' END AS fault
FROM (SELECT leak_step_id AS row_id, hash, previous_hash,
             sha256(convert_to(jsonb_strip_nulls(to_jsonb(l) - 'hash')::text, 'UTF8')) AS computed,
             lag(hash, 1, decode(repeat('0', 64), 'hex')) OVER (ORDER BY leak_step_id) AS hash_before
      FROM leak_step l
      WHERE site_id = current_site()) AS chained
WHERE hash <> computed OR previous_hash <> hash_before
ORDER BY row_id
LIMIT %(most)s;
