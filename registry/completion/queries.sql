-- owns: work_pack, work_pack_joint, work_pack_step

-- name: take_pack_lock
-- Be the only one who changes work packs until the transaction ends.
SELECT pg_advisory_xact_lock(hashtext('work_pack'), current_site());

-- name: add_pack
-- A work pack, opened.
INSERT INTO work_pack (site_id, code, title, opened_by)
VALUES (current_site(), %(code)s, %(title)s, %(opened_by)s)
RETURNING work_pack_id;

-- name: add_pack_joints
-- Put joints into a work pack; one that is in it already stays.
INSERT INTO work_pack_joint (site_id, work_pack_id, joint_id)
SELECT current_site(), %(work_pack_id)s::integer, g.joint_id FROM unnest(%(joint_ids)s::integer[]) AS g (joint_id)
ON CONFLICT DO NOTHING;

-- name: find_joints
-- The joints of the given tags.
SELECT tag, joint_id FROM joint WHERE site_id = current_site() AND tag = ANY (%(tags)s::text[]);

-- name: list_packs
-- Work packs (one by its code, or all), those not handed back first.
SELECT p.work_pack_id, p.code, p.title, p.opened_by, p.opened_at, p.handed_back_by, p.handed_back_at,
       (SELECT count(*) FROM work_pack_joint k WHERE k.site_id = p.site_id AND k.work_pack_id = p.work_pack_id)::integer
       AS joints
FROM work_pack p
WHERE p.site_id = current_site() AND (%(code)s::text IS NULL OR p.code = %(code)s::text)
ORDER BY p.handed_back_at DESC NULLS FIRST, p.work_pack_id DESC
LIMIT %(limit)s;

-- name: list_pack_joints
-- The joints of a work pack with what happened since each was broken the last time.
SELECT k.joint_id, j.tag, a.name AS area, f.code AS family, v.name AS service, j.size_mm,
       b.observed_at AS broken_at, b.done_by AS broken_by,
       m.make_up_id, m.made_up_on, m.fitter, m.witness, m.method, m.verdict, m.procedure_code, m.procedure_version,
       m.reasons, t.observed_at AS tested_at, t.done_by AS tested_by, t.passed AS test_passed, t.notes AS test_notes
FROM work_pack_joint k
JOIN joint j ON j.site_id = k.site_id AND j.joint_id = k.joint_id
JOIN family f ON f.site_id = j.site_id AND f.family_id = j.family_id
JOIN service v ON v.site_id = j.site_id AND v.service_id = j.service_id
LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id
LEFT JOIN LATERAL (
    SELECT s.observed_at, s.recorded_at, s.done_by FROM work_pack_step s
    WHERE s.site_id = k.site_id AND s.work_pack_id = k.work_pack_id AND s.joint_id = k.joint_id AND s.step = 'broken'
    ORDER BY s.work_pack_step_id DESC LIMIT 1) b ON true
LEFT JOIN LATERAL (
    SELECT m.* FROM make_up m
    WHERE m.site_id = k.site_id AND m.joint_id = k.joint_id AND m.made_up_on >= b.observed_at::date
      AND m.recorded_at >= b.observed_at
      AND NOT EXISTS (SELECT FROM make_up n WHERE n.site_id = m.site_id AND n.supersedes = m.make_up_id)
    ORDER BY m.made_up_on DESC, m.make_up_id DESC LIMIT 1) m ON true
LEFT JOIN LATERAL (
    SELECT s.observed_at, s.done_by, s.passed, s.notes FROM work_pack_step s
    WHERE s.site_id = k.site_id AND s.work_pack_id = k.work_pack_id AND s.joint_id = k.joint_id
      AND s.step = 'leak_tested' AND s.recorded_at >= m.recorded_at AND s.observed_at >= b.observed_at
    ORDER BY s.work_pack_step_id DESC LIMIT 1) t ON true
WHERE k.site_id = current_site() AND k.work_pack_id = %(work_pack_id)s
ORDER BY j.tag;

-- name: step_of_uuid
-- What a report with this UUID recorded.
SELECT work_pack_id, joint_id, step, passed, observed_at, done_by, notes
FROM work_pack_step WHERE site_id = current_site() AND client_uuid = %(client_uuid)s;

-- name: add_step
-- A joint was broken, or leak-tested.
INSERT INTO work_pack_step (site_id, work_pack_id, joint_id, step, passed, observed_at, done_by, notes, client_uuid)
VALUES (current_site(), %(work_pack_id)s, %(joint_id)s, %(step)s, %(passed)s, %(observed_at)s, %(done_by)s, %(notes)s,
        %(client_uuid)s);

-- name: hand_back
-- Close a work pack.
UPDATE work_pack SET handed_back_by = %(by)s, handed_back_at = %(at)s
WHERE site_id = current_site() AND work_pack_id = %(work_pack_id)s AND handed_back_at IS NULL;
