-- owns: score_run, score, interval_override

-- name: take_score_lock
-- Be the only one who scores the site; waits for whoever records a result.
SELECT pg_advisory_xact_lock(hashtext('score'), current_site());

-- name: share_score_lock
-- Keep a new run of scores from being swapped in until the transaction ends; others who record may do the same.
SELECT pg_advisory_xact_lock_shared(hashtext('score'), current_site());

-- name: take_reschedule_lock
-- One change of single joints' scores at a time, so that nobody computes from facts that another is about to add to.
SELECT pg_advisory_xact_lock(hashtext('reschedule'), current_site());

-- name: open_run
-- Begin a run of scores; nobody sees it before it is published.
INSERT INTO score_run (site_id, policy_version, as_of, joints)
VALUES (current_site(), %(policy_version)s, %(as_of)s, %(joints)s)
RETURNING score_run_id, policy_version, as_of, joints, inputs_until;

-- name: create_partition
-- The table that takes the rows of an open run.
SELECT score_partition_create(%(score_run_id)s);

-- name: publish_partition
-- Index the rows of an open run and put them in the place of the run before.
SELECT score_partition_publish(%(score_run_id)s);

-- name: read_current_run
-- The run that is shown, or no row.
SELECT score_run_id, policy_version, as_of, joints, inputs_until
FROM score_run WHERE site_id = current_site() AND score_run_id = current_score_run();

-- name: read_joint_columns
-- What the score takes of each joint (of the given ones, or of all); columns, none of them null.
SELECT j.joint_id, j.location[0] AS east_m, j.location[1] AS north_m, coalesce(j.elevation_m, 'NaN') AS elevation_m,
       coalesce(j.area_id, 0) AS area_id, coalesce(j.line_id, 0) AS line_id, j.family_id, j.service_id,
       coalesce(j.size_mm, 'NaN') AS size_mm, j.pressure_barg, coalesce(j.temperature_degc, 'NaN') AS temperature_degc,
       coalesce(j.made_up_on, '0001-01-01') AS made_up_on,
       coalesce(j.vibration_mm_s, 'NaN') AS vibration_mm_s, coalesce(j.vibration_hz, 'NaN') AS vibration_hz,
       coalesce(j.thermal_cycles_per_year, 'NaN') AS thermal_cycles_per_year,
       coalesce(j.thermal_range_degc, 'NaN') AS thermal_range_degc,
       (CASE j.access WHEN 'grade' THEN 1 WHEN 'platform' THEN 2 WHEN 'ladder' THEN 3 WHEN 'scaffold' THEN 4 ELSE 0
        END)::smallint AS access,
       coalesce(v.velocity_mm_s, 'NaN') AS last_vibration_mm_s, coalesce(v.frequency_hz, 'NaN') AS last_vibration_hz,
       coalesce(m.made_up_on, '0001-01-01') AS last_make_up_on, coalesce(m.accepted, false) AS last_make_up_accepted,
       coalesce(m.witnessed, false) AS last_make_up_witnessed,
       coalesce(c.satisfactory_at::date, '0001-01-01') AS last_satisfactory_on,
       coalesce(o.interval_days, 'NaN') AS override_days, coalesce(r.raised_due_on, '0001-01-01') AS recall_due_on
FROM joint j
LEFT JOIN joint_last_vibration v ON v.site_id = j.site_id AND v.joint_id = j.joint_id
LEFT JOIN joint_last_make_up m ON m.site_id = j.site_id AND m.joint_id = j.joint_id
LEFT JOIN joint_last_check c ON c.site_id = j.site_id AND c.joint_id = j.joint_id
LEFT JOIN (SELECT DISTINCT ON (joint_id) joint_id, interval_days, until_on
           FROM interval_override WHERE site_id = current_site()
           ORDER BY joint_id, interval_override_id DESC) o
       ON o.joint_id = j.joint_id AND o.until_on >= %(as_of)s::date
LEFT JOIN (SELECT k.joint_id, min(k.raised_due_on) AS raised_due_on
           FROM recall_joint k
           JOIN recall l ON l.site_id = k.site_id AND l.recall_id = k.recall_id
           LEFT JOIN joint_last_check d ON d.site_id = k.site_id AND d.joint_id = k.joint_id
           WHERE k.site_id = current_site()
             AND (%(joint_ids)s::integer[] IS NULL OR k.joint_id = ANY (%(joint_ids)s::integer[]))
             AND (d.satisfactory_at IS NULL OR d.satisfactory_at <= l.raised_at)
             AND NOT EXISTS (SELECT FROM make_up n
                             WHERE n.site_id = k.site_id AND n.joint_id = k.joint_id AND n.verdict = 'accepted'
                               AND n.made_up_on >= l.raised_at::date AND n.recorded_at > l.raised_at
                               AND NOT EXISTS (SELECT FROM make_up s
                                               WHERE s.site_id = n.site_id AND s.supersedes = n.make_up_id))
           GROUP BY k.joint_id) r
       ON r.joint_id = j.joint_id
WHERE j.site_id = current_site()
  AND (%(joint_ids)s::integer[] IS NULL OR j.joint_id = ANY (%(joint_ids)s::integer[]))
ORDER BY j.joint_id;

-- name: list_families
-- The number and code of each joint family that the register knows.
SELECT family_id, code FROM family WHERE site_id = current_site();

-- name: list_services
-- The number and name of each service that the register knows.
SELECT service_id, name FROM service WHERE site_id = current_site();

-- name: list_areas
-- The number and occupancy of each area.
SELECT area_id, occupancy FROM area WHERE site_id = current_site();

-- name: read_nearby_leaks
-- Leaks since a day with their line and place (on the lines of the given joints, or all); columns, none of them null.
SELECT l.joint_id, j.line_id, j.location[0] AS east_m, j.location[1] AS north_m, l.observed_at::date AS observed_on
FROM leak l JOIN joint j ON j.site_id = l.site_id AND j.joint_id = l.joint_id
WHERE l.site_id = current_site() AND l.observed_at >= %(since_on)s::date AND j.line_id IS NOT NULL
  AND NOT EXISTS (SELECT FROM leak n WHERE n.site_id = l.site_id AND n.supersedes = l.leak_id)
  AND (%(joint_ids)s::integer[] IS NULL
       OR j.line_id IN (SELECT o.line_id FROM joint o
                        WHERE o.site_id = current_site() AND o.joint_id = ANY (%(joint_ids)s::integer[])))
ORDER BY l.leak_id;

-- name: list_joints_of_lines
-- Every joint on the lines of the given ones, those included.
SELECT j.joint_id FROM joint j
WHERE j.site_id = current_site()
  AND (j.joint_id = ANY (%(joint_ids)s::integer[])
       OR j.line_id IN (SELECT o.line_id FROM joint o
                        WHERE o.site_id = current_site() AND o.joint_id = ANY (%(joint_ids)s::integer[])));

-- name: read_risk_columns
-- Number and risk of every joint of a run; columns, none of them null.
SELECT joint_id, risk_now FROM score WHERE site_id = current_site() AND score_run_id = %(score_run_id)s;

-- name: call_in_recalled
-- Bring forward the due date of a recall's joints where it asks for an earlier one; what an anew score of them gives.
UPDATE score s
SET due_on = k.raised_due_on, due_reason = 5
FROM recall_joint k
WHERE k.site_id = current_site() AND k.recall_id = %(recall_id)s
  AND s.site_id = k.site_id AND s.score_run_id = current_score_run() AND s.joint_id = k.joint_id
  AND s.due_on > k.raised_due_on AND s.due_reason <> 4;

-- name: drop_rescored
-- Make room for new scores of single joints in the same transaction.
DROP TABLE IF EXISTS pg_temp.rescored;

-- name: make_rescored
-- Where the new scores of single joints wait.
CREATE TEMPORARY TABLE rescored (LIKE score INCLUDING DEFAULTS) ON COMMIT DROP;

-- name: update_scores
-- Put the waiting scores of single joints in their run.
UPDATE score s
SET area_id = n.area_id, line_id = n.line_id, family_id = n.family_id, service_id = n.service_id, location = n.location,
    elevation_m = n.elevation_m, base_rate_per_year = n.base_rate_per_year, vibration_factor = n.vibration_factor,
    thermal_factor = n.thermal_factor, make_up_factor = n.make_up_factor, plant_factor = n.plant_factor,
    defect_rate_per_year = n.defect_rate_per_year, delay_rate_per_year = n.delay_rate_per_year,
    detection_probability = n.detection_probability, release_kg_s = n.release_kg_s,
    consequence_class = n.consequence_class, tolerable_leaks_per_year = n.tolerable_leaks_per_year,
    interval_days = n.interval_days, interval_limit = n.interval_limit, beyond_checking = n.beyond_checking,
    vibration_action = n.vibration_action, assumed_inputs = n.assumed_inputs,
    last_satisfactory_on = n.last_satisfactory_on, due_on = n.due_on, due_reason = n.due_reason,
    leak_rate_now_per_year = n.leak_rate_now_per_year, likelihood_class = n.likelihood_class, risk_now = n.risk_now,
    risk_rank = n.risk_rank, check_minutes = n.check_minutes
FROM pg_temp.rescored n
WHERE s.site_id = current_site() AND s.score_run_id = n.score_run_id AND s.joint_id = n.joint_id;

-- name: read_score
-- What a run says of one joint, as far as its account must agree; no row while it is not scored.
SELECT defect_rate_per_year, delay_rate_per_year, consequence_class, interval_days, due_on, leak_rate_now_per_year,
       risk_now, risk_rank
FROM score
WHERE site_id = current_site() AND score_run_id = %(score_run_id)s AND joint_id = %(joint_id)s;

-- name: read_due
-- When a joint falls due in the current run, and why; no row while it is not scored.
SELECT due_on, due_reason FROM score
WHERE site_id = current_site() AND score_run_id = current_score_run() AND joint_id = %(joint_id)s;

-- name: list_due
-- A page of joints by due date, riskiest first among equals, beginning after a given row.
SELECT s.joint_id, j.tag, a.name AS area, l.code AS line, f.code AS family, v.name AS service,
       s.location[0] AS east_m, s.location[1] AS north_m, s.elevation_m, s.due_on, s.due_reason, s.interval_days,
       s.interval_limit, s.last_satisfactory_on, s.consequence_class, s.likelihood_class, s.leak_rate_now_per_year,
       s.risk_now, s.risk_rank, s.check_minutes, s.beyond_checking, s.vibration_action, s.assumed_inputs
FROM (SELECT * FROM score
      WHERE site_id = current_site() AND score_run_id = %(score_run_id)s
        AND (%(area)s::text IS NULL
             OR area_id IN (SELECT a.area_id FROM area a WHERE a.site_id = current_site() AND a.name = %(area)s))
        AND (%(family)s::text IS NULL
             OR family_id IN (SELECT f.family_id FROM family f
                              WHERE f.site_id = current_site() AND f.code = %(family)s))
        AND (%(service)s::text IS NULL
             OR service_id IN (SELECT v.service_id FROM service v
                               WHERE v.site_id = current_site() AND v.name = %(service)s))
        AND (%(before_on)s::date IS NULL OR due_on < %(before_on)s::date)
        AND (%(until_on)s::date IS NULL OR due_on <= %(until_on)s::date)
        AND (%(after_due_on)s::date IS NULL OR due_on >= %(after_due_on)s::date)
        AND (%(after_due_on)s::date IS NULL OR due_on > %(after_due_on)s::date
             OR risk_now < %(after_risk)s::double precision
             OR (risk_now = %(after_risk)s::double precision AND joint_id > %(after_joint_id)s::integer))
      ORDER BY due_on, risk_now DESC, joint_id
      LIMIT %(limit)s) s
JOIN joint j ON j.site_id = s.site_id AND j.joint_id = s.joint_id
JOIN family f ON f.site_id = s.site_id AND f.family_id = s.family_id
JOIN service v ON v.site_id = s.site_id AND v.service_id = s.service_id
LEFT JOIN line l ON l.site_id = s.site_id AND l.line_id = s.line_id
LEFT JOIN area a ON a.site_id = s.site_id AND a.area_id = s.area_id
ORDER BY s.due_on, s.risk_now DESC, s.joint_id;

-- name: list_workload
-- The checks that fall due before a day, in minutes by family, each as often as its interval brings it round; what needs
-- an outage apart.
SELECT f.code AS family, coalesce(j.requires_outage, false) AS needs_outage,
       sum(s.check_minutes * (1 + floor((%(before_on)s::date - greatest(s.due_on, %(as_of)s::date) - 1) / s.interval_days)))
           AS minutes
FROM score s
JOIN joint j ON j.site_id = s.site_id AND j.joint_id = s.joint_id
JOIN family f ON f.site_id = s.site_id AND f.family_id = s.family_id
WHERE s.site_id = current_site() AND s.score_run_id = %(score_run_id)s AND s.due_on < %(before_on)s::date
GROUP BY 1, 2
ORDER BY 1, 2;

-- name: summarise_run
-- A run in numbers.
SELECT count(*)::integer AS joints, count(*) FILTER (WHERE due_on < %(as_of)s::date)::integer AS overdue,
       count(*) FILTER (WHERE due_on <= %(as_of)s::date + 30)::integer AS due_in_30_days,
       count(*) FILTER (WHERE beyond_checking)::integer AS beyond_checking,
       count(*) FILTER (WHERE vibration_action)::integer AS vibration_action,
       count(*) FILTER (WHERE due_reason = 4)::integer AS no_record
FROM score WHERE site_id = current_site() AND score_run_id = %(score_run_id)s;

-- name: add_override
-- An engineer's decision on one joint's interval; the newest of a joint stands.
INSERT INTO interval_override (site_id, joint_id, interval_days, until_on, decided_by, reason)
VALUES (current_site(), %(joint_id)s, %(interval_days)s, %(until_on)s, %(decided_by)s, %(reason)s)
RETURNING interval_override_id;

-- name: list_overrides
-- The newest decision on each joint that is in force on a day, or of one joint all.
SELECT o.interval_override_id, o.joint_id, j.tag, o.interval_days, o.until_on, o.decided_by, o.reason, o.recorded_at
FROM interval_override o
JOIN joint j ON j.site_id = o.site_id AND j.joint_id = o.joint_id
WHERE o.site_id = current_site()
  AND (%(tag)s::text IS NULL OR j.tag = %(tag)s)
  AND (%(in_force_on)s::date IS NULL
       OR (o.until_on >= %(in_force_on)s::date
           AND NOT EXISTS (SELECT FROM interval_override n
                           WHERE n.site_id = o.site_id AND n.joint_id = o.joint_id
                             AND n.interval_override_id > o.interval_override_id)))
ORDER BY o.until_on, o.interval_override_id;

-- name: read_site_id
-- The site that the transaction is set to.
SELECT current_site();

-- name: list_scored
-- Those of the given joints that a run has.
SELECT joint_id FROM score
WHERE site_id = current_site() AND score_run_id = %(score_run_id)s AND joint_id = ANY (%(joint_ids)s::integer[]);

-- name: read_ranks
-- Number, risk and rank of the given joints of a run; columns, none of them null.
SELECT joint_id, risk_now, risk_rank FROM score
WHERE site_id = current_site() AND score_run_id = %(score_run_id)s AND joint_id = ANY (%(joint_ids)s::integer[])
ORDER BY joint_id;

-- name: count_less_risky
-- How many joints of a run come after a joint at a risk in the order of risk, ties by number, the given joints left out.
-- A joint that was just found good has most of the plant before it and few behind: so those behind are counted.
SELECT (SELECT count(*) FROM score
        WHERE site_id = current_site() AND score_run_id = %(score_run_id)s
          AND risk_now < %(risk_now)s::double precision AND joint_id <> ALL (%(left_out)s::integer[]))
     + (SELECT count(*) FROM score
        WHERE site_id = current_site() AND score_run_id = %(score_run_id)s
          AND risk_now = %(risk_now)s::double precision AND joint_id > %(joint_id)s::integer
          AND joint_id <> ALL (%(left_out)s::integer[]));

-- name: list_tags_of
-- The tags of the given joints.
SELECT joint_id, tag FROM joint WHERE site_id = current_site() AND joint_id = ANY (%(joint_ids)s::integer[]);
