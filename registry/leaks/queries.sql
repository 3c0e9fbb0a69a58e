-- owns: leak, leak_step

-- name: take_leak_lock
-- The lock that the ledger's own trigger takes: who holds it sees every row before it and adds the next.
SELECT pg_advisory_xact_lock(hashtext('leak'), current_site());

-- name: take_leak_step_lock
-- The same for the ledger of repairs.
SELECT pg_advisory_xact_lock(hashtext('leak_step'), current_site());

-- name: leak_of_uuid
-- The row that a report with this UUID made, or no row.
SELECT leak_id, joint_id, observed_at, severity, found_by, found_during, screening_ppmv, notes
FROM leak
WHERE site_id = current_site() AND client_uuid = %(client_uuid)s;

-- name: step_of_uuid
-- The row that a report with this UUID made, or no row.
SELECT leak_step_id, leak_id, step, observed_at, done_by, notes
FROM leak_step
WHERE site_id = current_site() AND client_uuid = %(client_uuid)s;

-- name: add_leak
-- One leak, as reported.
INSERT INTO leak (site_id, joint_id, observed_at, severity, found_by, found_during, screening_ppmv, notes, client_uuid)
VALUES (current_site(), %(joint_id)s, %(observed_at)s, %(severity)s, %(found_by)s, %(found_during)s,
        %(screening_ppmv)s, %(notes)s, %(client_uuid)s)
RETURNING leak_id;

-- name: add_step
-- One step of a repair, as reported.
INSERT INTO leak_step (site_id, leak_id, step, observed_at, done_by, notes, client_uuid)
VALUES (current_site(), %(leak_id)s, %(step)s, %(observed_at)s, %(done_by)s, %(notes)s, %(client_uuid)s)
RETURNING leak_step_id;

-- name: add_leaks
-- Many leaks, in the order in which they happened.
INSERT INTO leak (site_id, joint_id, observed_at, severity, found_by, found_during, screening_ppmv, notes, intake_id)
SELECT current_site(), g.joint_id, g.observed_at, g.severity, g.found_by, g.found_during, g.screening_ppmv, g.notes,
       %(intake_id)s::integer
FROM unnest(%(joint_id)s::integer[], %(observed_at)s::timestamptz[], %(severity)s::text[], %(found_by)s::text[],
            %(found_during)s::text[], %(screening_ppmv)s::double precision[], %(notes)s::text[])
     AS g (joint_id, observed_at, severity, found_by, found_during, screening_ppmv, notes)
ORDER BY g.observed_at, g.joint_id;

-- name: add_steps
-- Many repairs, each against the leak of its joint and time.
INSERT INTO leak_step (site_id, leak_id, step, observed_at, done_by, intake_id)
SELECT current_site(), l.leak_id, g.step, g.observed_at, g.done_by, %(intake_id)s::integer
FROM unnest(%(joint_id)s::integer[], %(leak_at)s::timestamptz[], %(step)s::text[], %(observed_at)s::timestamptz[],
            %(done_by)s::text[])
     AS g (joint_id, leak_at, step, observed_at, done_by)
JOIN leak l ON l.site_id = current_site() AND l.joint_id = g.joint_id AND l.observed_at = g.leak_at
WHERE NOT EXISTS (SELECT FROM leak n WHERE n.site_id = l.site_id AND n.supersedes = l.leak_id)
ORDER BY g.observed_at, l.leak_id, g.step;

-- name: list_leaks_of_joints
-- What the ledger says of the given joints, with the repairs of each leak.
SELECT l.leak_id, l.joint_id, l.observed_at, l.severity, s.first_attempt_at, s.repaired_at
FROM leak l
CROSS JOIN LATERAL (
    SELECT min(d.observed_at) FILTER (WHERE d.step = 'first_attempt') AS first_attempt_at,
           min(d.observed_at) FILTER (WHERE d.step = 'repaired') AS repaired_at
    FROM leak_step d WHERE d.site_id = l.site_id AND d.leak_id = l.leak_id) s
WHERE l.site_id = current_site() AND l.joint_id = ANY (%(joint_ids)s::integer[])
  AND NOT EXISTS (SELECT FROM leak n WHERE n.site_id = l.site_id AND n.supersedes = l.leak_id)
ORDER BY l.leak_id;

-- name: read_leak
-- One leak with the state of its repair.
SELECT l.leak_id, l.joint_id, j.tag, a.name AS area, l.observed_at, l.severity, l.found_by, l.found_during,
       l.screening_ppmv, l.notes, s.first_attempt_at, s.repaired_at, l.recorded_at
FROM leak l
JOIN joint j ON j.site_id = l.site_id AND j.joint_id = l.joint_id
LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id
CROSS JOIN LATERAL (
    SELECT min(d.observed_at) FILTER (WHERE d.step = 'first_attempt') AS first_attempt_at,
           min(d.observed_at) FILTER (WHERE d.step = 'repaired') AS repaired_at
    FROM leak_step d WHERE d.site_id = l.site_id AND d.leak_id = l.leak_id) s
WHERE l.site_id = current_site() AND l.leak_id = %(leak_id)s;

-- name: list_leaks
-- A page of leaks, newest first; what was superseded by a correction is left out.
SELECT l.leak_id, l.joint_id, j.tag, a.name AS area, l.observed_at, l.severity, l.found_by, l.found_during,
       l.screening_ppmv, l.notes, s.first_attempt_at, s.repaired_at, l.recorded_at
FROM leak l
JOIN joint j ON j.site_id = l.site_id AND j.joint_id = l.joint_id
LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id
CROSS JOIN LATERAL (
    SELECT min(d.observed_at) FILTER (WHERE d.step = 'first_attempt') AS first_attempt_at,
           min(d.observed_at) FILTER (WHERE d.step = 'repaired') AS repaired_at
    FROM leak_step d WHERE d.site_id = l.site_id AND d.leak_id = l.leak_id) s
WHERE l.site_id = current_site()
  AND NOT EXISTS (SELECT FROM leak n WHERE n.site_id = l.site_id AND n.supersedes = l.leak_id)
  AND (%(area)s::text IS NULL OR a.name = %(area)s)
  AND (%(tag)s::text IS NULL OR j.tag = %(tag)s)
  AND (NOT %(only_open)s::boolean OR s.repaired_at IS NULL)
  AND (%(before_at)s::timestamptz IS NULL
       OR (l.observed_at, l.leak_id) < (%(before_at)s::timestamptz, %(before_id)s::bigint))
ORDER BY l.observed_at DESC, l.leak_id DESC
LIMIT %(limit)s;

-- name: read_ledger_beginning
-- The first day on which anybody recorded a check or a leak: before it, silence says nothing about leaks.
SELECT least((SELECT min(observed_at) FROM leak WHERE site_id = current_site()),
             (SELECT min(observed_at) FROM check_result WHERE site_id = current_site()))::date;

-- name: count_by_area
-- Leaks, open leaks, repairs and joint-years of exposure of each area from one day to another. A joint counts from its
-- first make-up, unless it was checked or leaked before that: then, and where no make-up is known, it counts from the
-- first day of the window, for nothing says that it was not there.
WITH made AS (
    SELECT joint_id, min(made_up_on) AS day FROM make_up WHERE site_id = current_site() GROUP BY joint_id
), seen AS (
    SELECT joint_id, min(at)::date AS day
    FROM (SELECT joint_id, min(observed_at) AS at FROM check_result WHERE site_id = current_site() GROUP BY joint_id
          UNION ALL
          SELECT joint_id, min(observed_at) FROM leak WHERE site_id = current_site() GROUP BY joint_id) e
    GROUP BY joint_id
), standing AS (
    SELECT coalesce(j.area_id, 0) AS area_id,
           CASE WHEN least(j.made_up_on, m.day) <= coalesce(s.day, 'infinity')
                THEN greatest(least(j.made_up_on, m.day), %(since_on)s::date)
                ELSE %(since_on)s::date END AS since_on
    FROM joint j
    LEFT JOIN made m ON m.joint_id = j.joint_id
    LEFT JOIN seen s ON s.joint_id = j.joint_id
    WHERE j.site_id = current_site()
), exposure AS (
    SELECT area_id, count(*) AS joints, sum(greatest(0, %(until_on)s::date - since_on)) / 365.25 AS joint_years
    FROM standing GROUP BY area_id
), leaks AS (
    SELECT coalesce(j.area_id, 0) AS area_id, l.severity, l.observed_at,
           l.observed_at::date >= %(since_on)s::date AS in_window,
           (SELECT min(d.observed_at) FROM leak_step d
            WHERE d.site_id = l.site_id AND d.leak_id = l.leak_id AND d.step = 'repaired'
              AND d.observed_at::date <= %(until_on)s::date) AS repaired_at
    FROM leak l JOIN joint j ON j.site_id = l.site_id AND j.joint_id = l.joint_id
    WHERE l.site_id = current_site() AND l.observed_at::date <= %(until_on)s::date
      AND NOT EXISTS (SELECT FROM leak n WHERE n.site_id = l.site_id AND n.supersedes = l.leak_id)
), counted AS (
    SELECT area_id,
           count(*) FILTER (WHERE in_window) AS leaks,
           count(*) FILTER (WHERE in_window AND severity = 'weep') AS weeps,
           count(*) FILTER (WHERE in_window AND severity = 'drip') AS drips,
           count(*) FILTER (WHERE in_window AND severity = 'spray') AS sprays,
           count(*) FILTER (WHERE repaired_at IS NULL) AS open_now,
           max(%(until_on)s::date - observed_at::date) FILTER (WHERE repaired_at IS NULL) AS oldest_open_days,
           count(*) FILTER (WHERE in_window AND repaired_at IS NOT NULL) AS repaired,
           percentile_cont(0.5) WITHIN GROUP (ORDER BY extract(epoch FROM repaired_at - observed_at) / 86400)
               FILTER (WHERE in_window AND repaired_at IS NOT NULL) AS median_repair_days
    FROM leaks GROUP BY area_id
)
SELECT e.area_id, a.name AS area, e.joints, e.joint_years::double precision AS joint_years,
       coalesce(c.leaks, 0) AS leaks, coalesce(c.weeps, 0) AS weeps, coalesce(c.drips, 0) AS drips,
       coalesce(c.sprays, 0) AS sprays, coalesce(c.open_now, 0) AS open_now, c.oldest_open_days,
       coalesce(c.repaired, 0) AS repaired, c.median_repair_days
FROM exposure e
LEFT JOIN counted c ON c.area_id = e.area_id
LEFT JOIN area a ON a.site_id = current_site() AND a.area_id = e.area_id
ORDER BY a.name NULLS LAST;
