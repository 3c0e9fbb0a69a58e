-- owns: plan_run, planned_check, plan_capacity, plan_move, plan_pin, deferral, plan_job

-- name: read_current_plan
-- The newest plan, or no row.
SELECT plan_run_id, score_run_id, policy_version, starts_on, weeks, frozen_weeks, planned_weeks, late_minutes,
       early_minutes, visit_minutes, moved_minutes, unplaced_minutes, bound_minutes, solving_seconds, made_by, recorded_at
FROM plan_run WHERE site_id = current_site()
ORDER BY plan_run_id DESC LIMIT 1;
