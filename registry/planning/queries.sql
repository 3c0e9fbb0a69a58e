-- owns: plan_run, planned_check

-- name: add_plan
-- A new plan from a run of scores.
INSERT INTO plan_run (site_id, score_run_id, starts_on, weeks, crew_hours_per_week, unplaced)
VALUES (current_site(), %(score_run_id)s, %(starts_on)s, %(weeks)s, %(crew_hours_per_week)s, %(unplaced)s)
RETURNING plan_run_id, score_run_id, starts_on, weeks, crew_hours_per_week, unplaced, recorded_at;

-- name: create_placed
-- Where a plan's checks wait: row-level security refuses COPY into the plan itself.
CREATE TEMPORARY TABLE placed_check (joint_id integer, week_starting_on date, due_on date, minutes double precision)
ON COMMIT DROP;

-- name: drop_placed
-- Make room for another plan in the same transaction.
DROP TABLE IF EXISTS pg_temp.placed_check;

-- name: add_planned_checks
-- The waiting checks as those of a plan.
INSERT INTO planned_check (site_id, plan_run_id, joint_id, week_starting_on, due_on, minutes)
SELECT current_site(), %(plan_run_id)s::integer, joint_id, week_starting_on, due_on, minutes
FROM placed_check;

-- name: drop_older_checks
-- The checks of the plans before this one; the plans themselves stay on record.
DELETE FROM planned_check WHERE site_id = current_site() AND plan_run_id < %(plan_run_id)s;

-- name: read_current_plan
-- The newest plan, or no row.
SELECT plan_run_id, score_run_id, starts_on, weeks, crew_hours_per_week, unplaced, recorded_at
FROM plan_run WHERE site_id = current_site()
ORDER BY plan_run_id DESC LIMIT 1;

-- name: list_weeks
-- Each week of a plan that has checks: how many, their hours, how many were due before it began, and how many of its
-- joints were checked since the plan was made.
SELECT p.week_starting_on, count(*)::integer AS checks, sum(p.minutes) / 60 AS hours,
       count(*) FILTER (WHERE p.due_on < p.week_starting_on)::integer AS late,
       count(*) FILTER (WHERE p.due_on >= p.week_starting_on + 7)::integer AS early,
       count(*) FILTER (WHERE c.checked_at > %(recorded_at)s::timestamptz)::integer AS done
FROM planned_check p
LEFT JOIN joint_last_check c ON c.site_id = p.site_id AND c.joint_id = p.joint_id
WHERE p.site_id = current_site() AND p.plan_run_id = %(plan_run_id)s
GROUP BY p.week_starting_on
ORDER BY p.week_starting_on;

-- name: list_checks_of_week
-- A page of the checks of one week of a plan, earliest due first.
SELECT p.joint_id, j.tag, a.name AS area, p.due_on, p.minutes, c.checked_at IS NOT NULL AS done
FROM planned_check p
JOIN joint j ON j.site_id = p.site_id AND j.joint_id = p.joint_id
LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id
LEFT JOIN joint_last_check c ON c.site_id = p.site_id AND c.joint_id = p.joint_id
                            AND c.checked_at > %(recorded_at)s::timestamptz
WHERE p.site_id = current_site() AND p.plan_run_id = %(plan_run_id)s AND p.week_starting_on = %(week_starting_on)s
  AND (%(after_due_on)s::date IS NULL
       OR (p.due_on, p.joint_id) > (%(after_due_on)s::date, %(after_joint_id)s::integer))
ORDER BY p.due_on, p.joint_id
LIMIT %(limit)s::bigint;
