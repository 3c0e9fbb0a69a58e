-- owns: recall, recall_joint

-- name: read_tool_id
-- The number of a tool by its serial.
SELECT tool_id FROM tool WHERE site_id = current_site() AND lower(serial) = lower(%(serial)s);

-- name: list_calibrations_of
-- What is known of a tool's calibrations.
SELECT calibrated_on, valid_until_on, as_found, certificate
FROM calibration WHERE site_id = current_site() AND tool_id = %(tool_id)s
ORDER BY calibrated_on, calibration_id;

-- name: list_made_with_tool
-- The newest standing make-up of each joint among those made with a tool between two days.
SELECT m.joint_id, max(m.made_up_on) AS made_up_on
FROM make_up_tool t
JOIN make_up m ON m.site_id = t.site_id AND m.make_up_id = t.make_up_id
WHERE t.site_id = current_site() AND t.tool_id = %(tool_id)s
  AND (%(from_on)s::date IS NULL OR m.made_up_on >= %(from_on)s::date) AND m.made_up_on <= %(until_on)s::date
  AND NOT EXISTS (SELECT FROM make_up n WHERE n.site_id = m.site_id AND n.supersedes = m.make_up_id)
GROUP BY m.joint_id ORDER BY m.joint_id;

-- name: list_made_by_person
-- The same of the make-ups of one fitter.
SELECT m.joint_id, max(m.made_up_on) AS made_up_on
FROM make_up m
WHERE m.site_id = current_site() AND m.fitter = %(person)s
  AND (%(from_on)s::date IS NULL OR m.made_up_on >= %(from_on)s::date) AND m.made_up_on <= %(until_on)s::date
  AND NOT EXISTS (SELECT FROM make_up n WHERE n.site_id = m.site_id AND n.supersedes = m.make_up_id)
GROUP BY m.joint_id ORDER BY m.joint_id;

-- name: list_made_of_lot
-- The same of the make-ups with a part of one lot, of whatever kind of part.
SELECT m.joint_id, max(m.made_up_on) AS made_up_on
FROM make_up_lot t
JOIN make_up m ON m.site_id = t.site_id AND m.make_up_id = t.make_up_id
WHERE t.site_id = current_site() AND t.lot = %(lot)s
  AND t.kind = ANY (ARRAY['gasket', 'ferrule_set', 'tube', 'seal_ring', 'bolt_set'])
  AND (%(from_on)s::date IS NULL OR m.made_up_on >= %(from_on)s::date) AND m.made_up_on <= %(until_on)s::date
  AND NOT EXISTS (SELECT FROM make_up n WHERE n.site_id = m.site_id AND n.supersedes = m.make_up_id)
GROUP BY m.joint_id ORDER BY m.joint_id;

-- name: list_made_by_procedure
-- The same of the make-ups by one procedure, in one version or in all.
SELECT m.joint_id, max(m.made_up_on) AS made_up_on
FROM make_up m
WHERE m.site_id = current_site() AND m.procedure_code = %(code)s
  AND (%(version)s::integer IS NULL OR m.procedure_version = %(version)s::integer)
  AND (%(from_on)s::date IS NULL OR m.made_up_on >= %(from_on)s::date) AND m.made_up_on <= %(until_on)s::date
  AND NOT EXISTS (SELECT FROM make_up n WHERE n.site_id = m.site_id AND n.supersedes = m.make_up_id)
GROUP BY m.joint_id ORDER BY m.joint_id;

-- name: list_made_again
-- Which of the given joints have an accepted make-up that is newer than the given one of each.
SELECT g.joint_id
FROM unnest(%(joint_ids)s::integer[], %(made_up_on)s::date[]) AS g (joint_id, made_up_on)
WHERE EXISTS (SELECT FROM make_up m
              WHERE m.site_id = current_site() AND m.joint_id = g.joint_id AND m.verdict = 'accepted'
                AND m.made_up_on > g.made_up_on
                AND NOT EXISTS (SELECT FROM make_up n WHERE n.site_id = m.site_id AND n.supersedes = m.make_up_id));

-- name: list_suspects
-- Some of the given joints as they stand, the worst class first; only those that are listed are looked up further.
SELECT j.joint_id, j.tag, a.name AS area, f.code AS family, j.location[0] AS east_m, j.location[1] AS north_m,
       m.made_up_on, m.fitter, w.consequence_class, w.due_on
FROM (SELECT g.joint_id, s.consequence_class::integer AS consequence_class, s.risk_now, s.due_on
      FROM unnest(%(joint_ids)s::integer[]) AS g (joint_id)
      LEFT JOIN score s ON s.site_id = current_site() AND s.score_run_id = (SELECT current_score_run())
                           AND s.joint_id = g.joint_id
      ORDER BY s.consequence_class DESC NULLS FIRST, s.risk_now DESC, g.joint_id
      LIMIT %(limit)s) w
JOIN joint j ON j.site_id = current_site() AND j.joint_id = w.joint_id
JOIN family f ON f.site_id = j.site_id AND f.family_id = j.family_id
LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id
JOIN LATERAL (SELECT m.made_up_on, m.fitter FROM make_up m
              WHERE m.site_id = j.site_id AND m.joint_id = j.joint_id
                AND NOT EXISTS (SELECT FROM make_up n WHERE n.site_id = m.site_id AND n.supersedes = m.make_up_id)
              ORDER BY m.made_up_on DESC, m.make_up_id DESC LIMIT 1) m ON true
ORDER BY w.consequence_class DESC NULLS FIRST, w.risk_now DESC, w.joint_id;

-- name: add_recall
-- A recall, raised.
INSERT INTO recall (site_id, kind, subject, from_on, until_on, reason, raised_by, joints)
VALUES (current_site(), %(kind)s, %(subject)s, %(from_on)s, %(until_on)s, %(reason)s, %(raised_by)s, %(joints)s)
RETURNING recall_id;

-- name: add_recall_joints
-- A check of every joint of a recall, so many days from today by its consequence class.
INSERT INTO recall_joint (site_id, recall_id, joint_id, raised_due_on)
SELECT current_site(), %(recall_id)s::integer, g.joint_id,
       %(today)s::date + (%(days_by_class)s::integer[])[coalesce(s.consequence_class, 5)]
FROM unnest(%(joint_ids)s::integer[]) AS g (joint_id)
LEFT JOIN score s ON s.site_id = current_site() AND s.score_run_id = current_score_run() AND s.joint_id = g.joint_id;

-- name: read_first_due
-- The earliest check that a recall raised.
SELECT min(raised_due_on) FROM recall_joint WHERE site_id = current_site() AND recall_id = %(recall_id)s;

-- name: list_recalls
-- Recalls with their progress (one, or all), newest first: a joint is closed by a satisfactory check or an accepted
-- make-up after the recall was raised.
SELECT r.recall_id, r.kind, r.subject, r.from_on, r.until_on, r.reason, r.raised_by, r.raised_at, r.joints,
       coalesce(p.closed, 0)::integer AS closed, coalesce(p.overdue, 0)::integer AS overdue
FROM recall r
LEFT JOIN LATERAL (
    SELECT count(*) FILTER (WHERE c.closed) AS closed,
           count(*) FILTER (WHERE NOT c.closed AND c.raised_due_on < %(today)s::date) AS overdue
    FROM (SELECT k.raised_due_on,
                 coalesce(d.satisfactory_at > r.raised_at, false)
                 OR EXISTS (SELECT FROM make_up m
                            WHERE m.site_id = k.site_id AND m.joint_id = k.joint_id AND m.verdict = 'accepted'
                              AND m.made_up_on >= r.raised_at::date AND m.recorded_at > r.raised_at
                              AND NOT EXISTS (SELECT FROM make_up n
                                              WHERE n.site_id = m.site_id AND n.supersedes = m.make_up_id)) AS closed
          FROM recall_joint k
          LEFT JOIN joint_last_check d ON d.site_id = k.site_id AND d.joint_id = k.joint_id
          WHERE k.site_id = r.site_id AND k.recall_id = r.recall_id) c) p ON true
WHERE r.site_id = current_site() AND (%(recall_id)s::integer IS NULL OR r.recall_id = %(recall_id)s::integer)
ORDER BY r.recall_id DESC
LIMIT %(limit)s;

-- name: list_recall_areas
-- A recall's progress by area.
SELECT a.name AS area, count(*)::integer AS joints, (count(*) FILTER (WHERE c.closed))::integer AS closed,
       (count(*) FILTER (WHERE NOT c.closed AND c.raised_due_on < %(today)s::date))::integer AS overdue
FROM (SELECT k.site_id, k.joint_id, k.raised_due_on,
             coalesce(d.satisfactory_at > r.raised_at, false)
             OR EXISTS (SELECT FROM make_up m
                        WHERE m.site_id = k.site_id AND m.joint_id = k.joint_id AND m.verdict = 'accepted'
                          AND m.made_up_on >= r.raised_at::date AND m.recorded_at > r.raised_at
                          AND NOT EXISTS (SELECT FROM make_up n
                                          WHERE n.site_id = m.site_id AND n.supersedes = m.make_up_id)) AS closed
      FROM recall r
      JOIN recall_joint k ON k.site_id = r.site_id AND k.recall_id = r.recall_id
      LEFT JOIN joint_last_check d ON d.site_id = k.site_id AND d.joint_id = k.joint_id
      WHERE r.site_id = current_site() AND r.recall_id = %(recall_id)s) c
JOIN joint j ON j.site_id = c.site_id AND j.joint_id = c.joint_id
LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id
GROUP BY a.name
ORDER BY a.name NULLS LAST;

-- name: list_recalled_joints
-- A page of a recall's joints by the day that their check was raised for, and what closed them.
SELECT k.joint_id, j.tag, a.name AS area, f.code AS family, j.location[0] AS east_m, j.location[1] AS north_m,
       j.elevation_m, k.raised_due_on,
       CASE WHEN d.satisfactory_at > r.raised_at THEN d.satisfactory_at END AS checked_at,
       (SELECT max(m.made_up_on) FROM make_up m
        WHERE m.site_id = k.site_id AND m.joint_id = k.joint_id AND m.verdict = 'accepted'
          AND m.made_up_on >= r.raised_at::date AND m.recorded_at > r.raised_at
          AND NOT EXISTS (SELECT FROM make_up n WHERE n.site_id = m.site_id AND n.supersedes = m.make_up_id))
       AS made_again_on
FROM recall r
JOIN recall_joint k ON k.site_id = r.site_id AND k.recall_id = r.recall_id
JOIN joint j ON j.site_id = k.site_id AND j.joint_id = k.joint_id
JOIN family f ON f.site_id = j.site_id AND f.family_id = j.family_id
LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id
LEFT JOIN joint_last_check d ON d.site_id = k.site_id AND d.joint_id = k.joint_id
WHERE r.site_id = current_site() AND r.recall_id = %(recall_id)s
  AND (%(area)s::text IS NULL OR a.name = %(area)s::text)
  AND (%(after_due_on)s::date IS NULL
       OR (k.raised_due_on, k.joint_id) > (%(after_due_on)s::date, %(after_joint_id)s::integer))
ORDER BY k.raised_due_on, k.joint_id
LIMIT %(limit)s;
