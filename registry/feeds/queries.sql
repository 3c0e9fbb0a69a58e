-- owns: nothing

-- name: read_feed_plan
-- The newest plan, and when it was made or last moved about in.
SELECT p.plan_run_id, p.starts_on, p.planned_weeks,
       greatest(p.recorded_at, (SELECT max(m.recorded_at) FROM plan_move m
                                WHERE m.site_id = p.site_id AND m.plan_run_id = p.plan_run_id)) AS changed_at
FROM plan_run p WHERE p.site_id = current_site()
ORDER BY p.plan_run_id DESC LIMIT 1;

-- name: list_feed_bundles
-- What a plan has for a crew, by week and area.
SELECT p.week_starting_on, p.area_id, a.name AS area, count(*)::integer AS checks, sum(p.minutes) AS minutes,
       count(*) FILTER (WHERE p.due_on < p.week_starting_on)::integer AS late,
       (count(DISTINCT p.scaffold) FILTER (WHERE p.scaffold > 0))::integer AS scaffolds,
       min(p.due_on) AS earliest_due_on
FROM planned_check p
LEFT JOIN area a ON a.site_id = p.site_id AND a.area_id = p.area_id
WHERE p.site_id = current_site() AND p.plan_run_id = %(plan_run_id)s AND p.crew_id = %(crew_id)s
  AND p.week_starting_on BETWEEN %(from_on)s AND %(until_on)s
GROUP BY p.week_starting_on, p.area_id, a.name
ORDER BY p.week_starting_on, p.area_id;

-- name: list_feed_routes
-- The walks of the crew of a name from a day on.
SELECT r.route_id, r.walk_on, a.name AS area, r.start_gate, r.walking_minutes, r.working_minutes,
       (SELECT count(*)::integer FROM route_stop s
        WHERE s.site_id = r.site_id AND s.route_id = r.route_id AND s.position > 0) AS stops,
       r.revision, r.recorded_at
FROM route r
LEFT JOIN area a ON a.site_id = r.site_id AND a.area_id = r.area_id
WHERE r.site_id = current_site() AND lower(r.crew) = lower(%(crew)s) AND r.walk_on >= %(from_on)s
ORDER BY r.walk_on, r.route_id;
