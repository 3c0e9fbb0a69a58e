-- owns: route, route_stop

-- name: read_planned_week
-- The newest plan if it covers a week: its number, and when it was made.
SELECT p.plan_run_id, p.recorded_at
FROM plan_run p
WHERE p.site_id = current_site()
  AND p.plan_run_id = (SELECT max(n.plan_run_id) FROM plan_run n WHERE n.site_id = current_site())
  AND %(week_starting_on)s::date BETWEEN p.starts_on AND p.starts_on + 7 * (p.weeks - 1);

-- name: list_planned
-- The joints that a plan has in this week or had in one before and that were not checked since it was made: all of them,
-- or one crew's.
SELECT s.joint_id, s.location, s.elevation_m, s.area_id, s.risk_now, s.detection_probability, s.due_on, s.check_minutes,
       s.family_id, s.due_reason, coalesce(j.requires_outage, false)
FROM (SELECT DISTINCT p.joint_id FROM planned_check p
      WHERE p.site_id = current_site() AND p.plan_run_id = %(plan_run_id)s
        AND p.week_starting_on <= %(week_starting_on)s::date
        AND (%(crew_id)s::integer IS NULL OR p.crew_id = %(crew_id)s::integer)) p
JOIN score s ON s.site_id = current_site() AND s.score_run_id = current_score_run() AND s.joint_id = p.joint_id
JOIN joint j ON j.site_id = s.site_id AND j.joint_id = s.joint_id
LEFT JOIN joint_last_check c ON c.site_id = s.site_id AND c.joint_id = s.joint_id
WHERE (%(area_id)s::integer IS NULL OR s.area_id = %(area_id)s::integer)
  AND (c.checked_at IS NULL OR c.checked_at <= %(planned_at)s::timestamptz)
ORDER BY s.joint_id;

-- name: list_due
-- The joints that fall due by a day.
SELECT s.joint_id, s.location, s.elevation_m, s.area_id, s.risk_now, s.detection_probability, s.due_on, s.check_minutes,
       s.family_id, s.due_reason, coalesce(j.requires_outage, false)
FROM score s
JOIN joint j ON j.site_id = s.site_id AND j.joint_id = s.joint_id
WHERE s.site_id = current_site() AND s.score_run_id = current_score_run() AND s.due_on <= %(until_on)s::date
  AND (%(area_id)s::integer IS NULL OR s.area_id = %(area_id)s::integer)
ORDER BY s.joint_id;

-- name: list_asked
-- The given joints as far as they are scored, due or not.
SELECT s.joint_id, s.location, s.elevation_m, s.area_id, s.risk_now, s.detection_probability, s.due_on, s.check_minutes,
       s.family_id, s.due_reason, coalesce(j.requires_outage, false)
FROM score s
JOIN joint j ON j.site_id = s.site_id AND j.joint_id = s.joint_id
WHERE s.site_id = current_site() AND s.score_run_id = current_score_run() AND s.joint_id = ANY (%(joint_ids)s::integer[])
ORDER BY s.joint_id;

-- name: list_taken
-- The joints that crews other than these walk to on a day, and those that anybody is to walk to on another day from
-- `today` on and has recorded nothing at.
SELECT DISTINCT o.joint_id
FROM route r
JOIN route_stop o ON o.site_id = r.site_id AND o.route_id = r.route_id
WHERE r.site_id = current_site() AND o.joint_id IS NOT NULL
  AND ((r.walk_on = %(walk_on)s::date AND lower(r.crew) <> ALL (%(crews)s::text[]))
       OR (r.walk_on <> %(walk_on)s::date AND r.walk_on >= %(today)s::date AND NOT EXISTS (
           SELECT FROM check_result k
           WHERE k.site_id = r.site_id AND k.route_id = r.route_id AND k.joint_id = o.joint_id)))
ORDER BY o.joint_id;

-- name: list_walkers
-- The given joints that stand on the walk of another crew on a day: each with the route and its crew.
SELECT DISTINCT ON (o.joint_id) o.joint_id, r.route_id, r.crew
FROM route r
JOIN route_stop o ON o.site_id = r.site_id AND o.route_id = r.route_id
WHERE r.site_id = current_site() AND r.walk_on = %(walk_on)s::date AND lower(r.crew) <> ALL (%(crews)s::text[])
  AND o.joint_id = ANY (%(joint_ids)s::integer[])
ORDER BY o.joint_id, r.route_id DESC;

-- name: list_joint_ids
-- The numbers of the joints with these tags.
SELECT j.tag, j.joint_id FROM joint j WHERE j.site_id = current_site() AND j.tag = ANY (%(tags)s::text[]);

-- name: list_tags
-- The tags of the joints with these numbers.
SELECT j.joint_id, j.tag FROM joint j WHERE j.site_id = current_site() AND j.joint_id = ANY (%(joint_ids)s::integer[]);

-- name: list_families
-- The number and code of each joint family that the register knows.
SELECT f.family_id, f.code FROM family f WHERE f.site_id = current_site();

-- name: list_tool_kinds
-- The kinds of tool in the register of tools.
SELECT DISTINCT t.kind FROM tool t WHERE t.site_id = current_site() ORDER BY t.kind;

-- name: list_places
-- Where every scored joint is: columns, none null.
SELECT s.joint_id, s.location, s.elevation_m
FROM score s
WHERE s.site_id = current_site() AND s.score_run_id = current_score_run()
  AND (%(area_id)s::integer IS NULL OR s.area_id = %(area_id)s::integer)
ORDER BY s.joint_id;

-- name: add_route
-- A route as made, without its stops.
INSERT INTO route (site_id, walk_on, crew, area_id, start_gate, shift_minutes, walking_minutes, working_minutes,
                   considered, unreachable, tools, best_walking_minutes)
VALUES (current_site(), %(walk_on)s, %(crew)s, %(area_id)s, %(start_gate)s, %(shift_minutes)s, %(walking_minutes)s,
        %(working_minutes)s, %(considered)s, %(unreachable)s, %(tools)s, %(best_walking_minutes)s)
RETURNING route_id;

-- name: add_stop
-- A stop of a route; position 0 is the way back.
INSERT INTO route_stop (site_id, route_id, position, joint_id, walking_minutes, working_minutes, leg, pinned)
VALUES (current_site(), %(route_id)s, %(position)s, %(joint_id)s, %(walking_minutes)s, %(working_minutes)s, %(leg)s,
        %(pinned)s);

-- name: save_route
-- The totals of a route after a change, if it is still at the revision that was seen.
UPDATE route SET walking_minutes = %(walking_minutes)s, working_minutes = %(working_minutes)s,
                 best_walking_minutes = %(best_walking_minutes)s, revision = revision + 1
WHERE site_id = current_site() AND route_id = %(route_id)s AND revision = %(revision)s
RETURNING revision;

-- name: drop_stops
-- Make room for the stops of a route after a change.
DELETE FROM route_stop WHERE site_id = current_site() AND route_id = %(route_id)s;

-- name: list_routes
-- Routes by day and number, newest first, beginning after a given one, with how many of their stops have a result.
SELECT r.route_id, r.walk_on, r.crew, a.name AS area, r.start_gate, r.shift_minutes, r.walking_minutes, r.working_minutes,
       r.considered, r.unreachable,
       (SELECT count(*) FROM route_stop s
        WHERE s.site_id = r.site_id AND s.route_id = r.route_id AND s.joint_id IS NOT NULL)::integer AS stops,
       (SELECT count(DISTINCT c.joint_id) FROM check_result c
        WHERE c.site_id = r.site_id AND c.route_id = r.route_id)::integer AS recorded,
       r.recorded_at, r.revision, r.tools, r.best_walking_minutes
FROM route r
LEFT JOIN area a ON a.site_id = r.site_id AND a.area_id = r.area_id
WHERE r.site_id = current_site()
  AND (%(walk_on)s::date IS NULL OR r.walk_on = %(walk_on)s::date)
  AND (%(crew)s::text IS NULL OR r.crew = %(crew)s::text)
  AND (%(after_walk_on)s::date IS NULL OR (r.walk_on, r.route_id) < (%(after_walk_on)s::date, %(after_route_id)s::integer))
ORDER BY r.walk_on DESC, r.route_id DESC
LIMIT %(limit)s;

-- name: read_route
-- One route with its totals, or no row.
SELECT r.route_id, r.walk_on, r.crew, a.name AS area, r.start_gate, r.shift_minutes, r.walking_minutes, r.working_minutes,
       r.considered, r.unreachable,
       (SELECT count(*) FROM route_stop s
        WHERE s.site_id = r.site_id AND s.route_id = r.route_id AND s.joint_id IS NOT NULL)::integer AS stops,
       (SELECT count(DISTINCT c.joint_id) FROM check_result c
        WHERE c.site_id = r.site_id AND c.route_id = r.route_id)::integer AS recorded,
       r.recorded_at, r.revision, r.tools, r.best_walking_minutes
FROM route r
LEFT JOIN area a ON a.site_id = r.site_id AND a.area_id = r.area_id
WHERE r.site_id = current_site() AND r.route_id = %(route_id)s;

-- name: list_stops
-- The stops of a route in walking order, the way back last, each with the newest result recorded there on this route.
SELECT s.position, s.joint_id, j.tag, a.name AS area, l.code AS line, f.code AS family, v.name AS service, j.size_mm,
       j.access, j.location[0] AS east_m, j.location[1] AS north_m, coalesce(w.elevation_m, j.elevation_m) AS elevation_m,
       w.due_on, w.due_reason, s.walking_minutes, s.working_minutes, s.leg, s.pinned,
       c.result, c.observed_at, c.checked_by
FROM route_stop s
LEFT JOIN joint j ON j.site_id = s.site_id AND j.joint_id = s.joint_id
LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id
LEFT JOIN line l ON l.site_id = j.site_id AND l.line_id = j.line_id
LEFT JOIN family f ON f.site_id = j.site_id AND f.family_id = j.family_id
LEFT JOIN service v ON v.site_id = j.site_id AND v.service_id = j.service_id
LEFT JOIN score w ON w.site_id = s.site_id AND w.score_run_id = current_score_run() AND w.joint_id = s.joint_id
LEFT JOIN LATERAL (
    SELECT c.result, c.observed_at, c.checked_by FROM check_result c
    WHERE c.site_id = s.site_id AND c.route_id = s.route_id AND c.joint_id = s.joint_id
      AND NOT EXISTS (SELECT FROM check_result n WHERE n.site_id = c.site_id AND n.supersedes = c.check_result_id)
    ORDER BY c.observed_at DESC, c.check_result_id DESC LIMIT 1) c ON true
WHERE s.site_id = current_site() AND s.route_id = %(route_id)s
ORDER BY s.position = 0, s.position;
