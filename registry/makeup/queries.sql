-- owns: make_up

-- name: take_make_up_lock
-- The lock that the ledger's own trigger takes: who holds it sees every row before it and adds the next.
SELECT pg_advisory_xact_lock(hashtext('make_up'), current_site());

-- name: add_make_ups
-- Many make-ups, in the order in which they were made.
INSERT INTO make_up (site_id, joint_id, made_up_on, fitter, witness, method, verdict, notes, intake_id)
SELECT current_site(), g.joint_id, g.made_up_on, g.fitter, g.witness, g.method, g.verdict, g.notes, %(intake_id)s::integer
FROM unnest(%(joint_id)s::integer[], %(made_up_on)s::date[], %(fitter)s::text[], %(witness)s::text[], %(method)s::text[],
            %(verdict)s::text[], %(notes)s::text[])
     AS g (joint_id, made_up_on, fitter, witness, method, verdict, notes)
ORDER BY g.made_up_on, g.joint_id;

-- name: list_make_ups_of_joints
-- What the ledger says of the given joints.
SELECT m.joint_id, m.made_up_on, m.verdict, m.method, m.fitter, m.witness
FROM make_up m
WHERE m.site_id = current_site() AND m.joint_id = ANY (%(joint_ids)s::integer[])
  AND NOT EXISTS (SELECT FROM make_up n WHERE n.site_id = m.site_id AND n.supersedes = m.make_up_id)
ORDER BY m.make_up_id;
