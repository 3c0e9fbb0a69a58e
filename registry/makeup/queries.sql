-- owns: make_up

-- name: take_make_up_lock
-- The lock that the ledger's own trigger takes: who holds it sees every row before it and adds the next.
SELECT pg_advisory_xact_lock(hashtext('make_up'), current_site());

-- name: add_make_ups
-- Those of the given make-ups that are not in the ledger yet, in the order in which they were made.
INSERT INTO make_up (site_id, joint_id, made_up_on, fitter, witness, method, verdict, notes, client_uuid, intake_id)
SELECT current_site(), g.joint_id, g.made_up_on, g.fitter, g.witness, g.method, g.verdict, g.notes, g.client_uuid,
       %(intake_id)s::integer
FROM unnest(%(joint_id)s::integer[], %(made_up_on)s::date[], %(fitter)s::text[], %(witness)s::text[], %(method)s::text[],
            %(verdict)s::text[], %(notes)s::text[], %(client_uuid)s::uuid[])
     AS g (joint_id, made_up_on, fitter, witness, method, verdict, notes, client_uuid)
WHERE NOT EXISTS (SELECT FROM make_up m WHERE m.site_id = current_site() AND m.client_uuid = g.client_uuid)
ORDER BY g.made_up_on, g.joint_id;

-- name: known_make_up_uuids
-- Which of the given UUIDs the ledger has.
SELECT client_uuid FROM make_up WHERE site_id = current_site() AND client_uuid = ANY (%(client_uuids)s::uuid[]);
