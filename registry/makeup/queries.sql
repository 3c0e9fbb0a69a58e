-- owns: make_up, make_up_tool, make_up_lot, procedure_version

-- name: take_make_up_lock
-- The lock that the ledger's own trigger takes: who holds it sees every row before it and adds the next.
SELECT pg_advisory_xact_lock(hashtext('make_up'), current_site());

-- name: add_make_up
-- One make-up, judged.
INSERT INTO make_up (site_id, joint_id, made_up_on, fitter, witness, method, verdict, notes, client_uuid, supersedes, reason,
                     kind, procedure_code, procedure_version, torque_n_m, turns, answers, reasons, judged, photos)
VALUES (current_site(), %(joint_id)s, %(made_up_on)s, %(fitter)s, %(witness)s, %(method)s, %(verdict)s, %(notes)s,
        %(client_uuid)s, %(supersedes)s, %(reason)s, %(kind)s, %(procedure_code)s, %(procedure_version)s, %(torque_n_m)s,
        %(turns)s, %(answers)s::jsonb, %(reasons)s::jsonb, %(judged)s, %(photos)s::text[])
RETURNING make_up_id;

-- name: add_make_ups
-- Many past make-ups, in the order in which they were made, with the number that each got.
INSERT INTO make_up (site_id, joint_id, made_up_on, fitter, witness, method, verdict, notes, intake_id,
                     kind, procedure_code, procedure_version, torque_n_m, turns, answers, reasons, judged)
SELECT current_site(), g.joint_id, g.made_up_on, g.fitter, g.witness, g.method, g.verdict, g.notes, %(intake_id)s::integer,
       g.kind, g.procedure_code, g.procedure_version, g.torque_n_m, g.turns, g.answers::jsonb, g.reasons::jsonb,
       %(judged)s::text
FROM unnest(%(joint_id)s::integer[], %(made_up_on)s::date[], %(fitter)s::text[], %(witness)s::text[], %(method)s::text[],
            %(verdict)s::text[], %(notes)s::text[], %(kind)s::text[], %(procedure_code)s::text[],
            %(procedure_version)s::integer[], %(torque_n_m)s::double precision[], %(turns)s::double precision[],
            %(answers)s::text[], %(reasons)s::text[])
     AS g (joint_id, made_up_on, fitter, witness, method, verdict, notes, kind, procedure_code, procedure_version,
           torque_n_m, turns, answers, reasons)
ORDER BY g.made_up_on, g.joint_id
RETURNING make_up_id, joint_id, made_up_on;

-- name: add_make_up_tools
-- The tools of make-ups that the register knows, by serial.
INSERT INTO make_up_tool (site_id, make_up_id, tool_id)
SELECT DISTINCT t.site_id, g.make_up_id, t.tool_id
FROM unnest(%(make_up_id)s::bigint[], %(serial)s::text[]) AS g (make_up_id, serial)
JOIN tool t ON t.site_id = current_site() AND lower(t.serial) = lower(g.serial);

-- name: add_make_up_lots
-- The lots of make-ups.
INSERT INTO make_up_lot (site_id, make_up_id, kind, lot)
SELECT DISTINCT current_site(), g.make_up_id, g.kind, g.lot
FROM unnest(%(make_up_id)s::bigint[], %(kind)s::text[], %(lot)s::text[]) AS g (make_up_id, kind, lot);

-- name: list_make_ups_of_joints
-- What the ledger says of the given joints; of an old record the verdict that it gave itself.
SELECT m.joint_id, m.made_up_on,
       CASE WHEN m.judged IS DISTINCT FROM 'in retrospect' THEN m.verdict
            WHEN m.reasons @> '[{"code": "said-not-accepted"}]' THEN 'not accepted'
            ELSE 'accepted' END AS verdict,
       m.method, m.fitter, m.witness, m.torque_n_m, m.turns
FROM make_up m
WHERE m.site_id = current_site() AND m.joint_id = ANY (%(joint_ids)s::integer[])
  AND NOT EXISTS (SELECT FROM make_up n WHERE n.site_id = m.site_id AND n.supersedes = m.make_up_id)
ORDER BY m.make_up_id;

-- name: list_make_ups
-- Make-ups with their tools and lots, in the order in which they were recorded: of a joint, or one by number or UUID.
SELECT m.make_up_id, m.joint_id, j.tag, m.made_up_on, m.fitter, m.witness, m.method, m.verdict, m.kind, m.procedure_code,
       m.procedure_version, m.torque_n_m, m.turns, m.answers, m.reasons, m.judged, m.photos,
       ARRAY(SELECT t.serial FROM make_up_tool u
             JOIN tool t ON t.site_id = u.site_id AND t.tool_id = u.tool_id
             WHERE u.site_id = m.site_id AND u.make_up_id = m.make_up_id ORDER BY t.serial) AS tools,
       ARRAY(SELECT l.kind || ':' || l.lot FROM make_up_lot l
             WHERE l.site_id = m.site_id AND l.make_up_id = m.make_up_id ORDER BY 1) AS lots,
       m.notes, m.client_uuid, m.supersedes, m.reason, n.make_up_id AS superseded_by, m.recorded_at
FROM make_up m
JOIN joint j ON j.site_id = m.site_id AND j.joint_id = m.joint_id
LEFT JOIN make_up n ON n.site_id = m.site_id AND n.supersedes = m.make_up_id
WHERE m.site_id = current_site()
  AND (%(joint_id)s::integer IS NULL OR m.joint_id = %(joint_id)s::integer)
  AND (%(make_up_id)s::bigint IS NULL OR m.make_up_id = %(make_up_id)s::bigint)
  AND (%(client_uuid)s::uuid IS NULL OR m.client_uuid = %(client_uuid)s::uuid)
ORDER BY m.make_up_id;

-- name: list_joint_facts
-- Family and size of the given joints, as a procedure and a qualification ask for them.
SELECT j.joint_id, f.code AS family, j.size_mm
FROM joint j
JOIN family f ON f.site_id = j.site_id AND f.family_id = j.family_id
WHERE j.site_id = current_site() AND j.joint_id = ANY (%(joint_ids)s::integer[]);

-- name: take_procedure_lock
-- One publisher of procedures at a time.
SELECT pg_advisory_xact_lock(hashtext('procedure_version'), current_site());

-- name: list_current_procedures
-- The newest version of every procedure.
SELECT DISTINCT ON (code) code, version, document
FROM procedure_version WHERE site_id = current_site()
ORDER BY code, version DESC;

-- name: read_procedure
-- One version of one procedure.
SELECT document FROM procedure_version
WHERE site_id = current_site() AND code = %(code)s AND version = %(version)s;

-- name: add_procedure
-- The next version of a procedure.
INSERT INTO procedure_version (site_id, code, version, document, published_by, note)
VALUES (current_site(), %(code)s::text,
        coalesce((SELECT max(p.version) FROM procedure_version p
                  WHERE p.site_id = current_site() AND p.code = %(code)s::text), 0) + 1,
        %(document)s::jsonb, %(published_by)s, %(note)s)
RETURNING version;
