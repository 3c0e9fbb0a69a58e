-- owns: plan_run, planned_check, plan_capacity, plan_move, plan_pin, deferral, plan_job

-- name: try_planning_lock
-- Be the only one who makes or changes the site's plan until the transaction ends; false where somebody else does.
SELECT pg_try_advisory_xact_lock(hashtext('planning'), current_site());

-- name: take_job_lock
-- Show that somebody works on a job until the transaction ends.
SELECT pg_advisory_xact_lock(hashtext('plan_job'), %(plan_job_id)s::integer);

-- name: is_job_alive
-- Whether somebody works on a job; looking does not stand in anybody's way.
SELECT EXISTS (SELECT FROM pg_locks
               WHERE locktype = 'advisory' AND granted AND objsubid = 2
                 AND database = (SELECT oid FROM pg_database WHERE datname = current_database())
                 AND classid::bigint = (hashtext('plan_job')::bigint & 4294967295)
                 AND objid::bigint = %(plan_job_id)s::bigint);

-- name: read_current_plan
-- The newest plan, or no row.
SELECT plan_run_id, score_run_id, policy_version, starts_on, weeks, frozen_weeks, planned_weeks, late_minutes,
       early_minutes, visit_minutes, moved_minutes, unplaced_minutes, bound_minutes, solving_seconds, made_by, recorded_at
FROM plan_run WHERE site_id = current_site()
ORDER BY plan_run_id DESC LIMIT 1;

-- name: read_joint_columns
-- What a plan takes of each joint: those due before a day, and the given ones whenever they are; columns, none null.
SELECT s.joint_id, s.location, s.elevation_m, s.area_id, s.family_id, s.consequence_class, s.defect_rate_per_year,
       s.delay_rate_per_year, s.detection_probability, s.interval_days, s.last_satisfactory_on, s.due_on, s.check_minutes,
       (CASE j.access WHEN 'grade' THEN 1 WHEN 'platform' THEN 2 WHEN 'ladder' THEN 3 WHEN 'scaffold' THEN 4 ELSE 0
        END)::smallint AS access,
       coalesce(j.requires_outage, false) AS requires_outage
FROM score s
JOIN joint j ON j.site_id = s.site_id AND j.joint_id = s.joint_id
WHERE s.site_id = current_site() AND s.score_run_id = %(score_run_id)s
  AND (s.due_on < %(before_on)s::date OR s.joint_id = ANY (%(joint_ids)s::integer[]))
ORDER BY s.joint_id;

-- name: read_check_columns
-- The checks of a plan as they stand; columns, none null: no week is day 1 of year 1, no crew is 0. `done`: its joint was
-- checked or made up since the plan was made, or that was recorded since.
SELECT p.joint_id, p.occurrence, coalesce(p.week_starting_on, '0001-01-01') AS week_starting_on,
       coalesce(p.crew_id, 0) AS crew_id, p.due_on, p.latest_on, p.minutes,
       coalesce(c.checked_at > %(recorded_at)s::timestamptz - interval '90 days'
                AND EXISTS (SELECT FROM check_result r
                            WHERE r.site_id = p.site_id AND r.joint_id = p.joint_id AND r.result <> 'not_reached'
                              AND r.observed_at > %(recorded_at)s::timestamptz - interval '90 days'
                              AND greatest(r.observed_at, r.recorded_at) > %(recorded_at)s::timestamptz), false)
       OR coalesce(m.made_up_on >= %(recorded_at)s::timestamptz::date - 90
                   AND EXISTS (SELECT FROM make_up n
                               WHERE n.site_id = p.site_id AND n.make_up_id = m.make_up_id AND n.verdict = 'accepted'
                                 AND n.recorded_at > %(recorded_at)s::timestamptz), false) AS done
FROM planned_check p
LEFT JOIN joint_last_check c ON c.site_id = p.site_id AND c.joint_id = p.joint_id
LEFT JOIN joint_last_make_up m ON m.site_id = p.site_id AND m.joint_id = p.joint_id
WHERE p.site_id = current_site() AND p.plan_run_id = %(plan_run_id)s
ORDER BY p.joint_id, p.occurrence;

-- name: list_capacity
-- The hours that a plan counted on.
SELECT crew_id, week_starting_on, minutes FROM plan_capacity
WHERE site_id = current_site() AND plan_run_id = %(plan_run_id)s;

-- name: list_route_joints
-- The joints on routes of a day or later that were not checked on them, each with the first such day and its crew.
SELECT DISTINCT ON (o.joint_id) o.joint_id, r.walk_on, c.crew_id
FROM route r
JOIN route_stop o ON o.site_id = r.site_id AND o.route_id = r.route_id
LEFT JOIN crew c ON c.site_id = r.site_id AND lower(c.name) = lower(r.crew)
WHERE r.site_id = current_site() AND r.walk_on >= %(today)s::date AND o.joint_id IS NOT NULL
  AND NOT EXISTS (SELECT FROM check_result k
                  WHERE k.site_id = r.site_id AND k.route_id = r.route_id AND k.joint_id = o.joint_id)
ORDER BY o.joint_id, r.walk_on, r.route_id DESC;

-- name: list_family_codes
-- The number and code of each joint family that the register knows.
SELECT family_id, code FROM family WHERE site_id = current_site();

-- name: list_pins
-- What people put into a week, as far as it was not done since.
SELECT p.joint_id, p.week_starting_on, p.crew_id
FROM plan_pin p
LEFT JOIN joint_last_check c ON c.site_id = p.site_id AND c.joint_id = p.joint_id
WHERE p.site_id = current_site() AND (c.checked_at IS NULL OR c.checked_at <= p.recorded_at)
ORDER BY p.joint_id;

-- name: drop_spent_pins
-- Forget what people put into weeks that are over, or what was done since.
DELETE FROM plan_pin p
WHERE p.site_id = current_site()
  AND (p.week_starting_on < %(this_week)s::date
       OR EXISTS (SELECT FROM joint_last_check c
                  WHERE c.site_id = p.site_id AND c.joint_id = p.joint_id AND c.checked_at > p.recorded_at));

-- name: list_deferred_until
-- The deferrals that count on a day: the newest of each joint, until its day has passed or the joint was checked.
SELECT d.joint_id, d.until_on
FROM (SELECT DISTINCT ON (joint_id) joint_id, until_on, recorded_at FROM deferral
      WHERE site_id = current_site() ORDER BY joint_id, deferral_id DESC) d
LEFT JOIN joint_last_check c ON c.site_id = current_site() AND c.joint_id = d.joint_id
WHERE d.until_on >= %(today)s::date AND (c.checked_at IS NULL OR c.checked_at <= d.recorded_at);

-- name: add_plan
-- A new plan.
INSERT INTO plan_run (site_id, score_run_id, policy_version, starts_on, weeks, frozen_weeks, planned_weeks, late_minutes,
                      early_minutes, visit_minutes, moved_minutes, unplaced_minutes, bound_minutes, solving_seconds, made_by)
VALUES (current_site(), %(score_run_id)s, %(policy_version)s, %(starts_on)s, %(weeks)s, %(frozen_weeks)s, %(planned_weeks)s,
        %(late_minutes)s, %(early_minutes)s, %(visit_minutes)s, %(moved_minutes)s, %(unplaced_minutes)s, %(bound_minutes)s,
        %(solving_seconds)s, %(made_by)s)
RETURNING plan_run_id, score_run_id, policy_version, starts_on, weeks, frozen_weeks, planned_weeks, late_minutes,
          early_minutes, visit_minutes, moved_minutes, unplaced_minutes, bound_minutes, solving_seconds, made_by, recorded_at;

-- name: drop_waiting
-- Make room for another plan in the same transaction.
DROP TABLE IF EXISTS pg_temp.waiting_check, pg_temp.waiting_move;

-- name: create_waiting_checks
-- Where a plan's checks wait: row-level security refuses COPY into the plan itself. 0 and day 1 of year 1 are none.
CREATE TEMPORARY TABLE waiting_check (
    joint_id integer, occurrence smallint, week_starting_on date, crew_id integer, due_on date, latest_on date,
    minutes double precision, area_id integer, scaffold integer, late_cost_per_week double precision,
    early_cost_per_week double precision, unplaced_reason smallint) ON COMMIT DROP;

-- name: create_waiting_moves
-- Where a plan's moves wait.
CREATE TEMPORARY TABLE waiting_move (
    joint_id integer, occurrence smallint, from_week date, from_crew_id integer, to_week date, to_crew_id integer,
    reason smallint) ON COMMIT DROP;

-- name: add_planned_checks
-- The waiting checks as those of a plan.
INSERT INTO planned_check (site_id, plan_run_id, joint_id, occurrence, week_starting_on, crew_id, due_on, latest_on, minutes,
                           area_id, scaffold, late_cost_per_week, early_cost_per_week, unplaced_reason)
SELECT current_site(), %(plan_run_id)s::integer, joint_id, occurrence, nullif(week_starting_on, '0001-01-01'),
       nullif(crew_id, 0), due_on, latest_on, minutes, area_id, scaffold, late_cost_per_week, early_cost_per_week,
       nullif(unplaced_reason, 0)
FROM waiting_check;

-- name: add_plan_moves
-- The waiting moves as those of a plan.
INSERT INTO plan_move (site_id, plan_run_id, joint_id, occurrence, from_week, from_crew_id, to_week, to_crew_id, reason)
SELECT current_site(), %(plan_run_id)s::integer, joint_id, occurrence, nullif(from_week, '0001-01-01'),
       nullif(from_crew_id, 0), nullif(to_week, '0001-01-01'), nullif(to_crew_id, 0), reason
FROM waiting_move;

-- name: add_capacity
-- What a crew has in a week of a plan, and what one crew-week more would save at most.
INSERT INTO plan_capacity (site_id, plan_run_id, crew_id, week_starting_on, minutes, worth_minutes)
SELECT current_site(), %(plan_run_id)s::integer, c, w, m, v
FROM unnest(%(crew_ids)s::integer[], %(weeks)s::date[], %(minutes)s::double precision[],
            %(worth_minutes)s::double precision[]) AS given(c, w, m, v);

-- name: drop_older_checks
-- The checks of the plans before this one; the plans themselves stay on record.
DELETE FROM planned_check WHERE site_id = current_site() AND plan_run_id < %(plan_run_id)s;

-- name: drop_older_capacity
-- The hours that the plans before this one counted on.
DELETE FROM plan_capacity WHERE site_id = current_site() AND plan_run_id < %(plan_run_id)s;

-- name: drop_older_moves
-- What the plans before this one moved; what people moved stays on record.
DELETE FROM plan_move WHERE site_id = current_site() AND plan_run_id < %(plan_run_id)s AND moved_by IS NULL;

-- name: list_crew_weeks
-- Every crew and week of a plan in which the crew has time or checks. Late: due before the week begins; early: due after
-- it ends; done: the joint's next check, recorded since the plan was made.
SELECT w.week_starting_on, w.crew_id, c.name AS crew, w.checks, w.minutes, w.capacity_minutes, w.late, w.early, w.done,
       w.pinned, w.worth_minutes
FROM (SELECT week_starting_on, crew_id, coalesce(p.checks, 0) AS checks, coalesce(p.minutes, 0) AS minutes,
             coalesce(h.minutes, 0) AS capacity_minutes, coalesce(p.late, 0) AS late, coalesce(p.early, 0) AS early,
             coalesce(p.done, 0) AS done, coalesce(p.pinned, 0) AS pinned, coalesce(h.worth_minutes, 0) AS worth_minutes
      FROM (SELECT week_starting_on, crew_id, minutes, worth_minutes FROM plan_capacity
            WHERE site_id = current_site() AND plan_run_id = %(plan_run_id)s) h
      FULL JOIN (
          SELECT p.week_starting_on, p.crew_id, count(*)::integer AS checks, sum(p.minutes) AS minutes,
                 (count(*) FILTER (WHERE p.due_on < p.week_starting_on))::integer AS late,
                 (count(*) FILTER (WHERE p.due_on >= p.week_starting_on + 7))::integer AS early,
                 (count(*) FILTER (
                     WHERE p.occurrence = 0 AND c.checked_at > %(recorded_at)s::timestamptz - interval '90 days'
                       AND EXISTS (SELECT FROM check_result r
                                   WHERE r.site_id = p.site_id AND r.joint_id = p.joint_id AND r.result <> 'not_reached'
                                     AND r.observed_at > %(recorded_at)s::timestamptz - interval '90 days'
                                     AND greatest(r.observed_at, r.recorded_at) > %(recorded_at)s::timestamptz)
                 ))::integer AS done,
                 (count(*) FILTER (WHERE p.occurrence = 0 AND n.joint_id IS NOT NULL))::integer AS pinned
          FROM planned_check p
          LEFT JOIN joint_last_check c ON c.site_id = p.site_id AND c.joint_id = p.joint_id
          LEFT JOIN plan_pin n ON n.site_id = p.site_id AND n.joint_id = p.joint_id
          WHERE p.site_id = current_site() AND p.plan_run_id = %(plan_run_id)s AND p.week_starting_on IS NOT NULL
          GROUP BY p.week_starting_on, p.crew_id) p USING (week_starting_on, crew_id)) w
JOIN crew c ON c.site_id = current_site() AND c.crew_id = w.crew_id
WHERE w.checks > 0 OR w.capacity_minutes > 0
ORDER BY w.week_starting_on, lower(c.name);

-- name: count_unplaced
-- The checks of a plan that stand in no week, by reason, area and family.
SELECT p.unplaced_reason AS reason, a.name AS area, f.code AS family, count(*)::integer AS checks,
       sum(p.minutes) AS minutes
FROM planned_check p
JOIN joint j ON j.site_id = p.site_id AND j.joint_id = p.joint_id
JOIN family f ON f.site_id = j.site_id AND f.family_id = j.family_id
LEFT JOIN area a ON a.site_id = p.site_id AND a.area_id = p.area_id
WHERE p.site_id = current_site() AND p.plan_run_id = %(plan_run_id)s AND p.week_starting_on IS NULL
GROUP BY 1, 2, 3 ORDER BY 4 DESC, 1, 2, 3;

-- name: count_moves
-- What stands elsewhere than in the plan before, by reason.
SELECT reason, count(*)::integer AS checks FROM plan_move
WHERE site_id = current_site() AND plan_run_id = %(plan_run_id)s
GROUP BY reason ORDER BY 2 DESC, reason;

-- name: list_checks_of_week
-- A page of the checks of one week of a plan, earliest due first: of all crews or of one, of all areas or one bundle's.
SELECT p.joint_id, p.occurrence, j.tag, a.name AS area, p.area_id, p.scaffold, f.code AS family, p.week_starting_on,
       p.crew_id, c.name AS crew, p.due_on, p.latest_on, p.minutes, coalesce(j.requires_outage, false) AS requires_outage,
       p.occurrence = 0 AND n.joint_id IS NOT NULL AS pinned,
       p.occurrence = 0 AND coalesce(
           l.checked_at > %(recorded_at)s::timestamptz - interval '90 days'
           AND EXISTS (SELECT FROM check_result r
                       WHERE r.site_id = p.site_id AND r.joint_id = p.joint_id AND r.result <> 'not_reached'
                         AND r.observed_at > %(recorded_at)s::timestamptz - interval '90 days'
                         AND greatest(r.observed_at, r.recorded_at) > %(recorded_at)s::timestamptz), false) AS done
FROM planned_check p
JOIN joint j ON j.site_id = p.site_id AND j.joint_id = p.joint_id
JOIN family f ON f.site_id = j.site_id AND f.family_id = j.family_id
JOIN crew c ON c.site_id = p.site_id AND c.crew_id = p.crew_id
LEFT JOIN area a ON a.site_id = p.site_id AND a.area_id = p.area_id
LEFT JOIN plan_pin n ON n.site_id = p.site_id AND n.joint_id = p.joint_id
LEFT JOIN joint_last_check l ON l.site_id = p.site_id AND l.joint_id = p.joint_id
WHERE p.site_id = current_site() AND p.plan_run_id = %(plan_run_id)s AND p.week_starting_on = %(week_starting_on)s::date
  AND (%(crew_id)s::integer IS NULL OR p.crew_id = %(crew_id)s::integer)
  AND (%(area_id)s::integer IS NULL OR p.area_id = %(area_id)s::integer)
  AND (%(scaffold)s::integer IS NULL OR p.scaffold = %(scaffold)s::integer)
  AND (%(after_due_on)s::date IS NULL
       OR (p.due_on, p.joint_id, p.occurrence)
          > (%(after_due_on)s::date, %(after_joint_id)s::integer, %(after_occurrence)s::smallint))
ORDER BY p.due_on, p.joint_id, p.occurrence
LIMIT %(limit)s::bigint;

-- name: list_bundles
-- The checks of a plan by week, crew, area and scaffold: of one week or of all; those that are overdue first.
SELECT p.plan_run_id, p.week_starting_on, p.crew_id, c.name AS crew, p.area_id, a.name AS area, p.scaffold,
       count(*)::integer AS checks, sum(p.minutes) AS minutes, min(p.due_on) AS earliest_due_on,
       min(p.latest_on) AS earliest_latest_on,
       (count(*) FILTER (WHERE p.due_on < p.week_starting_on))::integer AS late,
       (count(*) FILTER (WHERE p.occurrence = 0 AND n.joint_id IS NOT NULL))::integer AS pinned,
       (count(*) FILTER (WHERE p.occurrence = 0 AND l.checked_at > %(recorded_at)s::timestamptz - interval '90 days'
                         AND EXISTS (SELECT FROM check_result r
                                     WHERE r.site_id = p.site_id AND r.joint_id = p.joint_id AND r.result <> 'not_reached'
                                       AND r.observed_at > %(recorded_at)s::timestamptz - interval '90 days'
                                       AND greatest(r.observed_at, r.recorded_at) > %(recorded_at)s::timestamptz)
                        ))::integer AS done,
       (count(*) FILTER (WHERE j.requires_outage))::integer AS need_outage,
       (count(*) FILTER (WHERE p.occurrence > 0))::integer AS later_rounds
FROM planned_check p
JOIN joint j ON j.site_id = p.site_id AND j.joint_id = p.joint_id
JOIN crew c ON c.site_id = p.site_id AND c.crew_id = p.crew_id
LEFT JOIN area a ON a.site_id = p.site_id AND a.area_id = p.area_id
LEFT JOIN plan_pin n ON n.site_id = p.site_id AND n.joint_id = p.joint_id
LEFT JOIN joint_last_check l ON l.site_id = p.site_id AND l.joint_id = p.joint_id
WHERE p.site_id = current_site() AND p.plan_run_id = %(plan_run_id)s AND p.week_starting_on IS NOT NULL
  AND (%(week_starting_on)s::date IS NULL OR p.week_starting_on = %(week_starting_on)s::date)
GROUP BY p.plan_run_id, p.week_starting_on, p.crew_id, c.name, p.area_id, a.name, p.scaffold
ORDER BY p.week_starting_on, lower(c.name), earliest_due_on, a.name, p.scaffold;

-- name: list_moves
-- A page of what stands elsewhere than in the plan before, and of what people moved since.
SELECT m.plan_move_id, m.joint_id, m.occurrence, j.tag, a.name AS area, m.from_week, b.name AS from_crew, m.to_week,
       c.name AS to_crew, m.reason, m.note, m.moved_by, m.recorded_at
FROM plan_move m
JOIN joint j ON j.site_id = m.site_id AND j.joint_id = m.joint_id
LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id
LEFT JOIN crew b ON b.site_id = m.site_id AND b.crew_id = m.from_crew_id
LEFT JOIN crew c ON c.site_id = m.site_id AND c.crew_id = m.to_crew_id
WHERE m.site_id = current_site() AND m.plan_run_id = %(plan_run_id)s
  AND (%(reason)s::smallint IS NULL OR m.reason = %(reason)s::smallint)
  AND (%(after)s::bigint IS NULL OR m.plan_move_id > %(after)s::bigint)
ORDER BY m.plan_move_id
LIMIT %(limit)s::bigint;

-- name: list_unplaced
-- A page of the checks of a plan that stand in no week, earliest due first.
SELECT p.joint_id, p.occurrence, j.tag, a.name AS area, f.code AS family, p.due_on, p.latest_on, p.minutes,
       p.unplaced_reason AS reason
FROM planned_check p
JOIN joint j ON j.site_id = p.site_id AND j.joint_id = p.joint_id
JOIN family f ON f.site_id = j.site_id AND f.family_id = j.family_id
LEFT JOIN area a ON a.site_id = p.site_id AND a.area_id = p.area_id
WHERE p.site_id = current_site() AND p.plan_run_id = %(plan_run_id)s AND p.week_starting_on IS NULL
  AND (%(reason)s::smallint IS NULL OR p.unplaced_reason = %(reason)s::smallint)
  AND (%(after_due_on)s::date IS NULL
       OR (p.due_on, p.joint_id, p.occurrence)
          > (%(after_due_on)s::date, %(after_joint_id)s::integer, %(after_occurrence)s::smallint))
ORDER BY p.due_on, p.joint_id, p.occurrence
LIMIT %(limit)s::bigint;

-- name: list_movable
-- The checks of a bundle, or (no week) of some joints that stand nowhere, with what bears on where they may go; what was
-- done since is left out, and a deferral given since the plan was made counts.
SELECT p.joint_id, p.occurrence, j.tag, f.code AS family, p.area_id, p.scaffold, p.week_starting_on, p.crew_id,
       coalesce(p.unplaced_reason = %(no_room)s::smallint, true) AS could_be_placed, p.due_on,
       coalesce(CASE WHEN p.occurrence = 0 AND d.until_on >= %(today)s::date
                          AND (l.checked_at IS NULL OR l.checked_at <= d.recorded_at) THEN d.until_on END,
                p.latest_on) AS latest_on,
       p.minutes, p.late_cost_per_week, p.early_cost_per_week, coalesce(j.requires_outage, false) AS requires_outage,
       p.scaffold > 0 AS needs_scaffold, s.consequence_class, s.defect_rate_per_year, s.delay_rate_per_year,
       s.detection_probability, s.interval_days, s.last_satisfactory_on,
       (SELECT min(r.walk_on) FROM route_stop o JOIN route r ON r.site_id = o.site_id AND r.route_id = o.route_id
        WHERE o.site_id = p.site_id AND o.joint_id = p.joint_id AND p.occurrence = 0 AND r.walk_on >= %(today)s::date
          AND NOT EXISTS (SELECT FROM check_result k WHERE k.site_id = r.site_id AND k.route_id = r.route_id
                          AND k.joint_id = o.joint_id)) AS on_route_on
FROM planned_check p
JOIN joint j ON j.site_id = p.site_id AND j.joint_id = p.joint_id
JOIN family f ON f.site_id = j.site_id AND f.family_id = j.family_id
JOIN score s ON s.site_id = p.site_id AND s.score_run_id = current_score_run() AND s.joint_id = p.joint_id
LEFT JOIN joint_last_check l ON l.site_id = p.site_id AND l.joint_id = p.joint_id
LEFT JOIN LATERAL (SELECT until_on, recorded_at FROM deferral e WHERE e.site_id = p.site_id AND e.joint_id = p.joint_id
                   ORDER BY e.deferral_id DESC LIMIT 1) d ON true
WHERE p.site_id = current_site() AND p.plan_run_id = %(plan_run_id)s
  AND p.week_starting_on IS NOT DISTINCT FROM %(week_starting_on)s::date
  AND (%(crew_id)s::integer IS NULL OR p.crew_id = %(crew_id)s::integer)
  AND (%(area_id)s::integer IS NULL OR p.area_id = %(area_id)s::integer)
  AND (%(scaffold)s::integer IS NULL OR p.scaffold = %(scaffold)s::integer)
  AND (%(joint_ids)s::integer[] IS NULL OR p.joint_id = ANY (%(joint_ids)s::integer[]))
  AND NOT (p.occurrence = 0 AND coalesce(l.checked_at > %(recorded_at)s::timestamptz, false))
ORDER BY p.due_on, p.joint_id, p.occurrence;

-- name: list_places
-- Areas and scaffolds that are visited in a week of a plan, those of some checks aside.
SELECT DISTINCT CASE WHEN p.scaffold > 0 THEN 0 ELSE p.area_id END AS area_id, p.scaffold
FROM planned_check p
WHERE p.site_id = current_site() AND p.plan_run_id = %(plan_run_id)s AND p.week_starting_on = %(week_starting_on)s::date
  AND NOT EXISTS (SELECT FROM unnest(%(joint_ids)s::integer[], %(occurrences)s::smallint[]) AS left_out(j, o)
                  WHERE left_out.j = p.joint_id AND left_out.o = p.occurrence);

-- name: read_crew_week
-- What a crew has to do in a week of a plan, and the time that the plan counted on, NULL where it did not know the crew.
SELECT (SELECT coalesce(sum(minutes), 0) FROM planned_check
        WHERE site_id = current_site() AND plan_run_id = %(plan_run_id)s AND crew_id = %(crew_id)s
          AND week_starting_on = %(week_starting_on)s::date) AS planned_minutes,
       (SELECT minutes FROM plan_capacity
        WHERE site_id = current_site() AND plan_run_id = %(plan_run_id)s AND crew_id = %(crew_id)s
          AND week_starting_on = %(week_starting_on)s::date) AS capacity_minutes;

-- name: move_checks
-- Put checks of a plan into another week and crew.
UPDATE planned_check p
SET week_starting_on = %(to_week)s, crew_id = %(to_crew_id)s, unplaced_reason = NULL
FROM unnest(%(joint_ids)s::integer[], %(occurrences)s::smallint[]) AS moved(j, o)
WHERE p.site_id = current_site() AND p.plan_run_id = %(plan_run_id)s AND p.joint_id = moved.j AND p.occurrence = moved.o;

-- name: add_moves_by_hand
-- What a person moved, from where and why.
INSERT INTO plan_move (site_id, plan_run_id, joint_id, occurrence, from_week, from_crew_id, to_week, to_crew_id, reason, note,
                       moved_by)
SELECT current_site(), %(plan_run_id)s::integer, j, o, %(from_week)s::date, %(from_crew_id)s::integer, %(to_week)s::date,
       %(to_crew_id)s::integer, %(reason)s::smallint, %(note)s::text, %(moved_by)s::text
FROM unnest(%(joint_ids)s::integer[], %(occurrences)s::smallint[]) AS moved(j, o);

-- name: save_pins
-- Keep the next checks of joints where a person put them.
INSERT INTO plan_pin (site_id, joint_id, week_starting_on, crew_id, reason, pinned_by)
SELECT current_site(), j, %(to_week)s::date, %(to_crew_id)s::integer, %(note)s::text, %(moved_by)s::text
FROM unnest(%(joint_ids)s::integer[]) j
ON CONFLICT (site_id, joint_id) DO UPDATE
SET week_starting_on = excluded.week_starting_on, crew_id = excluded.crew_id, reason = excluded.reason,
    pinned_by = excluded.pinned_by, recorded_at = now();

-- name: remove_pins
-- Leave the next checks of joints to the planner again.
DELETE FROM plan_pin WHERE site_id = current_site() AND joint_id = ANY (%(joint_ids)s::integer[]);

-- name: add_costs
-- What moving by hand did to the cost of a plan, by cause.
UPDATE plan_run SET late_minutes = late_minutes + %(late)s, early_minutes = early_minutes + %(early)s,
                    visit_minutes = visit_minutes + %(visits)s, unplaced_minutes = unplaced_minutes + %(unplaced)s
WHERE site_id = current_site() AND plan_run_id = %(plan_run_id)s;

-- name: read_next_check
-- Where a plan has the next check of a joint, or no row.
SELECT week_starting_on, crew_id, latest_on FROM planned_check
WHERE site_id = current_site() AND plan_run_id = %(plan_run_id)s AND joint_id = %(joint_id)s AND occurrence = 0;

-- name: read_deferrable
-- What the current scores say of a joint's next check, or no row.
SELECT s.due_on, s.last_satisfactory_on, s.consequence_class, s.defect_rate_per_year, s.delay_rate_per_year,
       s.detection_probability
FROM score s
WHERE s.site_id = current_site() AND s.score_run_id = current_score_run() AND s.joint_id = %(joint_id)s;

-- name: add_deferral
-- A check allowed to be later, by a named person.
INSERT INTO deferral (site_id, joint_id, due_on, until_on, reason, decided_by, risk_added)
VALUES (current_site(), %(joint_id)s, %(due_on)s, %(until_on)s, %(reason)s, %(decided_by)s, %(risk_added)s)
RETURNING deferral_id;

-- name: list_deferrals
-- Deferrals, newest first: of one joint or of all, those that count on a day or all that there ever were. One counts as
-- long as it is its joint's newest, its day has not passed, and the joint was not checked since.
SELECT d.deferral_id, d.joint_id, j.tag, a.name AS area, d.due_on, d.until_on, d.reason, d.decided_by, d.risk_added,
       d.in_force, d.recorded_at
FROM (SELECT e.*, e.until_on >= %(today)s::date
                  AND (l.checked_at IS NULL OR l.checked_at <= e.recorded_at)
                  AND NOT EXISTS (SELECT FROM deferral n WHERE n.site_id = e.site_id AND n.joint_id = e.joint_id
                                  AND n.deferral_id > e.deferral_id) AS in_force
      FROM deferral e
      LEFT JOIN joint_last_check l ON l.site_id = e.site_id AND l.joint_id = e.joint_id
      WHERE e.site_id = current_site()) d
JOIN joint j ON j.site_id = d.site_id AND j.joint_id = d.joint_id
LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id
WHERE (%(joint_id)s::integer IS NULL OR d.joint_id = %(joint_id)s::integer) AND (%(past_too)s OR d.in_force)
ORDER BY d.deferral_id DESC;

-- name: add_job
-- A plan that is to be made in the background.
INSERT INTO plan_job (site_id, request, asked_by)
VALUES (current_site(), %(request)s::jsonb, %(asked_by)s)
RETURNING plan_job_id;

-- name: save_progress
-- A job that is worked on, and how far it is; whether somebody asked it to stop.
UPDATE plan_job SET state = 'running', share_done = %(share_done)s, stage = %(stage)s
WHERE site_id = current_site() AND plan_job_id = %(plan_job_id)s
RETURNING stop_asked;

-- name: end_job
-- A job that is over, and how.
UPDATE plan_job
SET state = %(state)s, plan_run_id = %(plan_run_id)s, failure = %(failure)s, finished_at = clock_timestamp(),
    share_done = CASE WHEN %(state)s::text = 'done' THEN 1 ELSE share_done END
WHERE site_id = current_site() AND plan_job_id = %(plan_job_id)s AND state IN ('queued', 'running');

-- name: end_jobs_cut_off
-- Jobs that nobody works on any more, for the asker holds the lock that they would.
UPDATE plan_job SET state = 'failed', failure = %(failure)s, finished_at = clock_timestamp()
WHERE site_id = current_site() AND state IN ('queued', 'running');

-- name: ask_to_stop
-- Ask a job to stop, if it is not over.
UPDATE plan_job SET stop_asked = true
WHERE site_id = current_site() AND plan_job_id = %(plan_job_id)s AND state IN ('queued', 'running');

-- name: read_job
-- A job: one by its number, or the newest.
SELECT plan_job_id, request, state, stage, share_done, stop_asked, plan_run_id, failure, asked_by, asked_at, finished_at
FROM plan_job
WHERE site_id = current_site() AND (%(plan_job_id)s::integer IS NULL OR plan_job_id = %(plan_job_id)s::integer)
ORDER BY plan_job_id DESC LIMIT 1;
