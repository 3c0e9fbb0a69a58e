-- owns: intake

-- name: take_intake_lock
-- One file of a kind at a time goes into a site, so that two of the same find each other's rows.
SELECT pg_advisory_xact_lock(hashtext('intake ' || %(kind)s), current_site());

-- name: add_intake
-- Note a file that changed something.
INSERT INTO intake (site_id, kind, source_name, content_sha256, rows_read, rows_loaded, rows_refused)
VALUES (current_site(), %(kind)s, %(source_name)s, %(content_sha256)s, %(rows_read)s, %(rows_loaded)s, %(rows_refused)s)
RETURNING intake_id;

-- name: list_intakes
-- The newest files that changed something.
SELECT intake_id, kind, source_name, encode(content_sha256, 'hex') AS content_sha256, rows_read, rows_loaded,
       rows_refused, recorded_at
FROM intake WHERE site_id = current_site()
ORDER BY intake_id DESC LIMIT %(count)s;

-- name: forbid_nested_loops
-- A site's new rows are in no statistics yet, and a nested loop over two lists of 100,000 rows takes minutes.
SELECT set_config('enable_nestloop', 'off', true);

-- name: allow_nested_loops
-- Back to the planner's own choice.
SELECT set_config('enable_nestloop', 'on', true);
