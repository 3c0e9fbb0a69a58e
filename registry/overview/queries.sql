-- owns: nothing

-- name: read_sheet
-- What the title block says and what a browser's copy depends on; one row.
SELECT s.code AS site_code, s.name AS site_name, r.score_run_id, r.policy_version, r.as_of, r.joints AS scored_joints,
       (SELECT max(f.intake_id) FROM plan_feature f WHERE f.site_id = s.site_id) AS plot_plan_intake_id,
       EXISTS (SELECT FROM joint j WHERE j.site_id = s.site_id) AS has_joints,
       -- Everything that moves a due date or a mark on the plan adds a row to one of these.
       concat_ws('-', r.score_run_id,
                 (SELECT max(check_result_id) FROM check_result c WHERE c.site_id = s.site_id),
                 (SELECT max(leak_id) FROM leak l WHERE l.site_id = s.site_id),
                 (SELECT max(leak_step_id) FROM leak_step l WHERE l.site_id = s.site_id),
                 (SELECT max(make_up_id) FROM make_up m WHERE m.site_id = s.site_id),
                 (SELECT max(interval_override_id) FROM interval_override o WHERE o.site_id = s.site_id),
                 (SELECT max(intake_id) FROM intake i WHERE i.site_id = s.site_id)) AS stamp
FROM site s
LEFT JOIN score_run r ON r.site_id = s.site_id AND r.score_run_id = current_score_run()
WHERE s.site_id = current_site();

-- name: list_choices
-- Areas, families and services to filter by, in one reading.
SELECT 'area' AS kind, area_id AS number, name FROM area WHERE site_id = current_site()
UNION ALL SELECT 'family', family_id, code FROM family WHERE site_id = current_site()
UNION ALL SELECT 'service', service_id, name FROM service WHERE site_id = current_site()
ORDER BY 1, 3;

-- name: list_plan_shapes
-- The features of the plot plan, areas first, so that what is drawn later lies over them.
SELECT kind, name, geometry FROM plan_feature
WHERE site_id = current_site()
ORDER BY kind <> 'area', kind, plan_feature_id;

-- name: read_joint_extent
-- West, south, east and north edge of the scored joints, for a site without a plot plan.
SELECT min(location[0]), min(location[1]), max(location[0]), max(location[1])
FROM score WHERE site_id = (SELECT current_site()) AND score_run_id = (SELECT current_score_run());

-- name: window_cells
-- The joints of a small window, counted in square cells of the plant grid. West and south edges belong to it.
SELECT floor(w.location[0] / %(cell_m)s)::integer AS cell_east, floor(w.location[1] / %(cell_m)s)::integer AS cell_north,
       count(*)::integer AS joints, (width_bucket(max(w.risk_now), %(band_edges)s::double precision[]) + 1)::integer AS band,
       (count(*) FILTER (WHERE w.due_on < %(today)s::date))::integer AS overdue,
       (count(*) FILTER (WHERE w.due_on >= %(today)s::date AND w.due_on <= %(soon)s::date))::integer AS due_soon
FROM score_window(%(west)s, %(south)s, %(east)s, %(north)s) w
WHERE w.location[0] < %(east)s AND w.location[1] < %(north)s
  AND (%(area_id)s::integer IS NULL OR w.area_id = %(area_id)s::integer)
  AND (%(family_id)s::integer IS NULL OR w.family_id = %(family_id)s::integer)
  AND (%(service_id)s::integer IS NULL OR w.service_id = %(service_id)s::integer)
  AND (%(due_from)s::date IS NULL OR w.due_on >= %(due_from)s::date)
  AND (%(due_until)s::date IS NULL OR w.due_on <= %(due_until)s::date)
GROUP BY 1, 2;

-- name: wide_cells
-- The same for a window that holds a good part of the site: a plain pass over all scores beats the index, and counting
-- before cutting lets the planner see that there are many rows and few cells.
WITH counted AS MATERIALIZED (
    SELECT floor(w.location[0] / %(cell_m)s)::integer AS cell_east, floor(w.location[1] / %(cell_m)s)::integer AS cell_north,
           count(*)::integer AS joints, (width_bucket(max(w.risk_now), %(band_edges)s::double precision[]) + 1)::integer AS band,
           (count(*) FILTER (WHERE w.due_on < %(today)s::date))::integer AS overdue,
           (count(*) FILTER (WHERE w.due_on >= %(today)s::date AND w.due_on <= %(soon)s::date))::integer AS due_soon
    FROM score w
    WHERE w.site_id = (SELECT current_site()) AND w.score_run_id = (SELECT current_score_run())
      AND (%(area_id)s::integer IS NULL OR w.area_id = %(area_id)s::integer)
      AND (%(family_id)s::integer IS NULL OR w.family_id = %(family_id)s::integer)
      AND (%(service_id)s::integer IS NULL OR w.service_id = %(service_id)s::integer)
      AND (%(due_from)s::date IS NULL OR w.due_on >= %(due_from)s::date)
      AND (%(due_until)s::date IS NULL OR w.due_on <= %(due_until)s::date)
    GROUP BY 1, 2)
SELECT * FROM counted
WHERE cell_east >= round(%(west)s / %(cell_m)s) AND cell_east < round(%(east)s / %(cell_m)s)
  AND cell_north >= round(%(south)s / %(cell_m)s) AND cell_north < round(%(north)s / %(cell_m)s);

-- name: window_joints
-- The joints of a window one by one, the least risky first, so that the riskiest is drawn last and lies on top.
SELECT j.tag, w.location[0] AS east_m, w.location[1] AS north_m, nullif(w.elevation_m, 'NaN') AS elevation_m,
       (width_bucket(w.risk_now, %(band_edges)s::double precision[]) + 1)::integer AS band, w.due_on, w.risk_rank
FROM score_window(%(west)s, %(south)s, %(east)s, %(north)s) w
JOIN joint j ON j.site_id = w.site_id AND j.joint_id = w.joint_id
WHERE w.location[0] < %(east)s AND w.location[1] < %(north)s
  AND (%(area_id)s::integer IS NULL OR w.area_id = %(area_id)s::integer)
  AND (%(family_id)s::integer IS NULL OR w.family_id = %(family_id)s::integer)
  AND (%(service_id)s::integer IS NULL OR w.service_id = %(service_id)s::integer)
  AND (%(due_from)s::date IS NULL OR w.due_on >= %(due_from)s::date)
  AND (%(due_until)s::date IS NULL OR w.due_on <= %(due_until)s::date)
ORDER BY w.risk_now, w.joint_id DESC;

-- name: wide_joints
-- The same for a window that holds a good part of the site, and few joints under its filter: they are chosen first.
WITH chosen AS MATERIALIZED (
    SELECT * FROM score w
    WHERE w.site_id = (SELECT current_site()) AND w.score_run_id = (SELECT current_score_run())
      AND w.location[0] >= %(west)s AND w.location[0] < %(east)s AND w.location[1] >= %(south)s AND w.location[1] < %(north)s
      AND (%(area_id)s::integer IS NULL OR w.area_id = %(area_id)s::integer)
      AND (%(family_id)s::integer IS NULL OR w.family_id = %(family_id)s::integer)
      AND (%(service_id)s::integer IS NULL OR w.service_id = %(service_id)s::integer)
      AND (%(due_from)s::date IS NULL OR w.due_on >= %(due_from)s::date)
      AND (%(due_until)s::date IS NULL OR w.due_on <= %(due_until)s::date))
SELECT j.tag, w.location[0] AS east_m, w.location[1] AS north_m, nullif(w.elevation_m, 'NaN') AS elevation_m,
       (width_bucket(w.risk_now, %(band_edges)s::double precision[]) + 1)::integer AS band, w.due_on, w.risk_rank
FROM chosen w
JOIN joint j ON j.site_id = w.site_id AND j.joint_id = w.joint_id
ORDER BY w.risk_now, w.joint_id DESC;

-- name: window_riskiest
-- The riskiest joints of a small window, the riskiest last, as in window_joints.
SELECT j.tag, w.location[0] AS east_m, w.location[1] AS north_m, nullif(w.elevation_m, 'NaN') AS elevation_m,
       (width_bucket(w.risk_now, %(band_edges)s::double precision[]) + 1)::integer AS band, w.due_on, w.risk_rank
FROM (
    SELECT * FROM score_window(%(west)s, %(south)s, %(east)s, %(north)s) w
    WHERE w.location[0] < %(east)s AND w.location[1] < %(north)s
      AND (%(area_id)s::integer IS NULL OR w.area_id = %(area_id)s::integer)
      AND (%(family_id)s::integer IS NULL OR w.family_id = %(family_id)s::integer)
      AND (%(service_id)s::integer IS NULL OR w.service_id = %(service_id)s::integer)
      AND (%(due_from)s::date IS NULL OR w.due_on >= %(due_from)s::date)
      AND (%(due_until)s::date IS NULL OR w.due_on <= %(due_until)s::date)
    ORDER BY w.risk_now DESC, w.joint_id
    LIMIT %(limit)s) w
JOIN joint j ON j.site_id = w.site_id AND j.joint_id = w.joint_id
ORDER BY w.risk_now, w.joint_id DESC;

-- name: wide_riskiest
-- The same for a window that holds a good part of the site: down the order of risk until enough lie in it. OFFSET 0 keeps
-- the planner, which thinks that few do, from sorting the whole site first.
SELECT j.tag, w.location[0] AS east_m, w.location[1] AS north_m, nullif(w.elevation_m, 'NaN') AS elevation_m,
       (width_bucket(w.risk_now, %(band_edges)s::double precision[]) + 1)::integer AS band, w.due_on, w.risk_rank
FROM (
    SELECT * FROM (
        SELECT * FROM score w
        WHERE w.site_id = (SELECT current_site()) AND w.score_run_id = (SELECT current_score_run())
          AND (%(area_id)s::integer IS NULL OR w.area_id = %(area_id)s::integer)
          AND (%(family_id)s::integer IS NULL OR w.family_id = %(family_id)s::integer)
          AND (%(service_id)s::integer IS NULL OR w.service_id = %(service_id)s::integer)
          AND (%(due_from)s::date IS NULL OR w.due_on >= %(due_from)s::date)
          AND (%(due_until)s::date IS NULL OR w.due_on <= %(due_until)s::date)
        ORDER BY w.risk_now DESC, w.joint_id
        OFFSET 0) w
    WHERE w.location[0] >= %(west)s AND w.location[0] < %(east)s AND w.location[1] >= %(south)s AND w.location[1] < %(north)s
    LIMIT %(limit)s) w
JOIN joint j ON j.site_id = w.site_id AND j.joint_id = w.joint_id
ORDER BY w.risk_now, w.joint_id DESC;

-- name: list_leaks_on_plan
-- Where it leaks now: open leaks with the place of their joint, newest first.
SELECT j.tag, j.location[0] AS east_m, j.location[1] AS north_m, l.severity, l.observed_at
FROM leak l
JOIN joint j ON j.site_id = l.site_id AND j.joint_id = l.joint_id
WHERE l.site_id = current_site()
  AND NOT EXISTS (SELECT FROM leak n WHERE n.site_id = l.site_id AND n.supersedes = l.leak_id)
  AND NOT EXISTS (SELECT FROM leak_step d WHERE d.site_id = l.site_id AND d.leak_id = l.leak_id AND d.step = 'repaired')
ORDER BY l.observed_at DESC, l.leak_id DESC
LIMIT %(limit)s;

-- name: summarise_areas
-- Each area's joints in numbers, under a filter.
SELECT w.area_id, a.name AS area, count(*)::integer AS joints,
       (count(*) FILTER (WHERE w.due_on < %(today)s::date))::integer AS overdue,
       (count(*) FILTER (WHERE w.due_on >= %(today)s::date AND w.due_on <= %(soon)s::date))::integer AS due_soon,
       (width_bucket(max(w.risk_now), %(band_edges)s::double precision[]) + 1)::integer AS worst_band,
       (count(*) FILTER (WHERE w.beyond_checking))::integer AS beyond_checking
FROM score w
LEFT JOIN area a ON a.site_id = w.site_id AND a.area_id = w.area_id
WHERE w.site_id = (SELECT current_site()) AND w.score_run_id = (SELECT current_score_run())
  AND (%(area_id)s::integer IS NULL OR w.area_id = %(area_id)s::integer)
  AND (%(family_id)s::integer IS NULL OR w.family_id = %(family_id)s::integer)
  AND (%(service_id)s::integer IS NULL OR w.service_id = %(service_id)s::integer)
  AND (%(due_from)s::date IS NULL OR w.due_on >= %(due_from)s::date)
  AND (%(due_until)s::date IS NULL OR w.due_on <= %(due_until)s::date)
GROUP BY w.area_id, a.name
ORDER BY a.name NULLS LAST;

-- name: list_riskiest
-- The riskiest joints under a filter.
SELECT w.joint_id, j.tag, a.name AS area, f.code AS family, v.name AS service,
       w.location[0] AS east_m, w.location[1] AS north_m, nullif(w.elevation_m, 'NaN') AS elevation_m, w.due_on, w.due_reason, w.interval_days,
       w.leak_rate_now_per_year, w.consequence_class, w.risk_now,
       (width_bucket(w.risk_now, %(band_edges)s::double precision[]) + 1)::integer AS band, w.risk_rank, w.check_minutes,
       w.beyond_checking
FROM score w
JOIN joint j ON j.site_id = w.site_id AND j.joint_id = w.joint_id
JOIN family f ON f.site_id = w.site_id AND f.family_id = w.family_id
JOIN service v ON v.site_id = w.site_id AND v.service_id = w.service_id
LEFT JOIN area a ON a.site_id = w.site_id AND a.area_id = w.area_id
WHERE w.site_id = (SELECT current_site()) AND w.score_run_id = (SELECT current_score_run())
  AND (%(area_id)s::integer IS NULL OR w.area_id = %(area_id)s::integer)
  AND (%(family_id)s::integer IS NULL OR w.family_id = %(family_id)s::integer)
  AND (%(service_id)s::integer IS NULL OR w.service_id = %(service_id)s::integer)
  AND (%(due_from)s::date IS NULL OR w.due_on >= %(due_from)s::date)
  AND (%(due_until)s::date IS NULL OR w.due_on <= %(due_until)s::date)
  AND (NOT %(only_beyond)s::boolean OR w.beyond_checking)
ORDER BY w.risk_now DESC, w.joint_id
LIMIT %(limit)s;

-- name: list_due
-- A page of joints by due date, riskiest first among equals, beginning after a given row.
SELECT w.joint_id, j.tag, a.name AS area, f.code AS family, v.name AS service,
       w.location[0] AS east_m, w.location[1] AS north_m, nullif(w.elevation_m, 'NaN') AS elevation_m, w.due_on, w.due_reason, w.interval_days,
       w.leak_rate_now_per_year, w.consequence_class, w.risk_now,
       (width_bucket(w.risk_now, %(band_edges)s::double precision[]) + 1)::integer AS band, w.risk_rank, w.check_minutes,
       w.beyond_checking
FROM score w
JOIN joint j ON j.site_id = w.site_id AND j.joint_id = w.joint_id
JOIN family f ON f.site_id = w.site_id AND f.family_id = w.family_id
JOIN service v ON v.site_id = w.site_id AND v.service_id = w.service_id
LEFT JOIN area a ON a.site_id = w.site_id AND a.area_id = w.area_id
WHERE w.site_id = (SELECT current_site()) AND w.score_run_id = (SELECT current_score_run())
  AND (%(area_id)s::integer IS NULL OR w.area_id = %(area_id)s::integer)
  AND (%(family_id)s::integer IS NULL OR w.family_id = %(family_id)s::integer)
  AND (%(service_id)s::integer IS NULL OR w.service_id = %(service_id)s::integer)
  AND (%(due_from)s::date IS NULL OR w.due_on >= %(due_from)s::date)
  AND (%(due_until)s::date IS NULL OR w.due_on <= %(due_until)s::date)
  AND (%(after_due_on)s::date IS NULL OR w.due_on >= %(after_due_on)s::date)
  AND (%(after_due_on)s::date IS NULL OR w.due_on > %(after_due_on)s::date
       OR w.risk_now < %(after_risk)s::double precision
       OR (w.risk_now = %(after_risk)s::double precision AND w.joint_id > %(after_joint_id)s::integer))
ORDER BY w.due_on, w.risk_now DESC, w.joint_id
LIMIT %(limit)s;

-- name: count_due
-- Joints and hours of checking under a filter, by due state.
SELECT count(*)::integer AS joints, coalesce(sum(w.check_minutes), 0) / 60.0 AS hours,
       (count(*) FILTER (WHERE w.due_on < %(today)s::date))::integer AS overdue,
       (count(*) FILTER (WHERE w.due_on >= %(today)s::date AND w.due_on <= %(soon)s::date))::integer AS due_soon
FROM score w
WHERE w.site_id = (SELECT current_site()) AND w.score_run_id = (SELECT current_score_run())
  AND (%(area_id)s::integer IS NULL OR w.area_id = %(area_id)s::integer)
  AND (%(family_id)s::integer IS NULL OR w.family_id = %(family_id)s::integer)
  AND (%(service_id)s::integer IS NULL OR w.service_id = %(service_id)s::integer)
  AND (%(due_from)s::date IS NULL OR w.due_on >= %(due_from)s::date)
  AND (%(due_until)s::date IS NULL OR w.due_on <= %(due_until)s::date);

-- name: find_tags
-- Joints whose tag has the given text in it, those that begin with it first.
SELECT j.tag, a.name AS area, f.code AS family
FROM joint j
JOIN family f ON f.site_id = j.site_id AND f.family_id = j.family_id
LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id
WHERE j.site_id = current_site() AND strpos(upper(j.tag), upper(%(text)s::text)) > 0
ORDER BY strpos(upper(j.tag), upper(%(text)s::text)) <> 1, j.tag
LIMIT %(limit)s;

-- name: read_joint_record
-- One joint as registered, with its current score.
SELECT j.joint_id, j.tag, f.code AS family, v.name AS service, l.code AS line, a.name AS area, j.size_mm,
       j.location[0] AS east_m, j.location[1] AS north_m, j.elevation_m, j.pressure_barg, j.temperature_degc, j.access,
       j.requires_outage, j.notes, i.source_name, j.recorded_at, w.due_on, w.due_reason, w.interval_days, w.interval_limit,
       w.beyond_checking, w.vibration_action, w.risk_now,
       (width_bucket(w.risk_now, %(band_edges)s::double precision[]) + 1)::integer AS band, w.risk_rank
FROM joint j
JOIN family f ON f.site_id = j.site_id AND f.family_id = j.family_id
JOIN service v ON v.site_id = j.site_id AND v.service_id = j.service_id
JOIN intake i ON i.site_id = j.site_id AND i.intake_id = j.intake_id
LEFT JOIN line l ON l.site_id = j.site_id AND l.line_id = j.line_id
LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id
LEFT JOIN score w ON w.site_id = j.site_id AND w.score_run_id = (SELECT current_score_run()) AND w.joint_id = j.joint_id
WHERE j.site_id = current_site() AND j.tag = %(tag)s;

-- name: list_history
-- What happened to one joint, newest first.
SELECT 'make_up' AS kind, m.made_up_on::timestamptz AS at,
       m.verdict || coalesce(', by ' || m.method, '') || CASE WHEN m.witness IS NULL THEN ', not witnessed' ELSE ', witnessed by ' || m.witness END AS what,
       m.fitter AS by, NULL::double precision AS number, m.notes,
       EXISTS (SELECT FROM make_up n WHERE n.site_id = m.site_id AND n.supersedes = m.make_up_id) AS superseded
FROM make_up m WHERE m.site_id = current_site() AND m.joint_id = %(joint_id)s
UNION ALL
SELECT 'check', c.observed_at, c.result, c.checked_by, c.screening_ppmv, c.notes,
       EXISTS (SELECT FROM check_result n WHERE n.site_id = c.site_id AND n.supersedes = c.check_result_id)
FROM check_result c WHERE c.site_id = current_site() AND c.joint_id = %(joint_id)s
UNION ALL
SELECT 'leak', k.observed_at, k.severity || ', found during ' || k.found_during, k.found_by, k.screening_ppmv, k.notes,
       EXISTS (SELECT FROM leak n WHERE n.site_id = k.site_id AND n.supersedes = k.leak_id)
FROM leak k WHERE k.site_id = current_site() AND k.joint_id = %(joint_id)s
UNION ALL
SELECT 'repair', d.observed_at, replace(d.step, '_', ' '), d.done_by, NULL, d.notes, false
FROM leak_step d JOIN leak k ON k.site_id = d.site_id AND k.leak_id = d.leak_id
WHERE d.site_id = current_site() AND k.joint_id = %(joint_id)s
UNION ALL
SELECT 'reading', v.observed_at, coalesce('at ' || round(v.frequency_hz::numeric, 1) || ' Hz', 'frequency not given'), NULL,
       v.velocity_mm_s, NULL, false
FROM vibration_reading v WHERE v.site_id = current_site() AND v.joint_id = %(joint_id)s
UNION ALL
SELECT 'override', o.recorded_at, 'interval set until ' || o.until_on, o.decided_by, o.interval_days, o.reason, false
FROM interval_override o WHERE o.site_id = current_site() AND o.joint_id = %(joint_id)s
UNION ALL
SELECT 'change', h.recorded_at,
       (SELECT string_agg(e.key || ': ' || coalesce(e.value ->> 0, 'not given') || ' → ' || coalesce(e.value ->> 1, 'not given'), '; ')
        FROM jsonb_each(h.changes) e), i.source_name, NULL, NULL, false
FROM joint_change h JOIN intake i ON i.site_id = h.site_id AND i.intake_id = h.intake_id
WHERE h.site_id = current_site() AND h.joint_id = %(joint_id)s
ORDER BY 2 DESC, 1
LIMIT %(limit)s;

-- name: list_late_minutes
-- The minutes of a plan's late checks by week and crew: those whose week begins after their due date.
SELECT p.week_starting_on, p.crew_id, sum(p.minutes) AS late_minutes
FROM planned_check p
WHERE p.site_id = current_site() AND p.plan_run_id = %(plan_run_id)s AND p.due_on < p.week_starting_on
GROUP BY 1, 2;

-- name: list_route_stops
-- The stops of a route in walking order, the way back last, each with its risk and the newest result of this route.
SELECT s.position, s.joint_id, j.tag, f.code AS family, v.name AS service, j.size_mm, j.pressure_barg, j.access,
       j.location[0] AS east_m, j.location[1] AS north_m, coalesce(nullif(w.elevation_m, 'NaN'), j.elevation_m) AS elevation_m,
       w.due_on, (width_bucket(w.risk_now, %(band_edges)s::double precision[]) + 1)::integer AS band,
       s.walking_minutes, s.working_minutes, s.leg, c.result, c.observed_at AS recorded_at, c.checked_by
FROM route_stop s
LEFT JOIN joint j ON j.site_id = s.site_id AND j.joint_id = s.joint_id
LEFT JOIN family f ON f.site_id = j.site_id AND f.family_id = j.family_id
LEFT JOIN service v ON v.site_id = j.site_id AND v.service_id = j.service_id
LEFT JOIN score w ON w.site_id = s.site_id AND w.score_run_id = (SELECT current_score_run()) AND w.joint_id = s.joint_id
LEFT JOIN LATERAL (
    SELECT c.result, c.observed_at, c.checked_by FROM check_result c
    WHERE c.site_id = s.site_id AND c.route_id = s.route_id AND c.joint_id = s.joint_id
      AND NOT EXISTS (SELECT FROM check_result n WHERE n.site_id = c.site_id AND n.supersedes = c.check_result_id)
    ORDER BY c.observed_at DESC, c.check_result_id DESC LIMIT 1) c ON true
WHERE s.site_id = current_site() AND s.route_id = %(route_id)s
ORDER BY s.position = 0, s.position;

-- name: list_joints_as_stops
-- Joints as stops of a walk that is not kept yet, in the given order; nothing is known of the way to them.
SELECT n.position::integer AS position, j.joint_id, j.tag, f.code AS family, v.name AS service, j.size_mm, j.pressure_barg,
       j.access, j.location[0] AS east_m, j.location[1] AS north_m,
       coalesce(nullif(w.elevation_m, 'NaN'), j.elevation_m) AS elevation_m, w.due_on,
       (width_bucket(w.risk_now, %(band_edges)s::double precision[]) + 1)::integer AS band,
       0::double precision AS walking_minutes, 0::double precision AS working_minutes,
       ARRAY[]::double precision[] AS leg, NULL::text AS result, NULL::timestamptz AS recorded_at, NULL::text AS checked_by
FROM unnest(%(joint_ids)s::integer[]) WITH ORDINALITY AS n(joint_id, position)
JOIN joint j ON j.site_id = current_site() AND j.joint_id = n.joint_id
JOIN family f ON f.site_id = j.site_id AND f.family_id = j.family_id
JOIN service v ON v.site_id = j.site_id AND v.service_id = j.service_id
LEFT JOIN score w ON w.site_id = j.site_id AND w.score_run_id = (SELECT current_score_run()) AND w.joint_id = j.joint_id
ORDER BY n.position;

-- name: count_score_groups
-- How many joints share the same codes of the score: enough for the matrix, what set the intervals, and what was assumed.
SELECT likelihood_class, consequence_class, interval_limit, beyond_checking, vibration_action, assumed_inputs,
       count(*)::integer AS joints
FROM score
WHERE site_id = (SELECT current_site()) AND score_run_id = (SELECT current_score_run())
GROUP BY 1, 2, 3, 4, 5, 6;
