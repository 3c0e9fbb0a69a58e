-- owns: check_result

-- name: take_check_lock
-- The lock that the ledger's own trigger takes: who holds it sees every row before it and adds the next.
SELECT pg_advisory_xact_lock(hashtext('check_result'), current_site());

-- name: check_of_uuid
-- The row that a report with this UUID made, or no row.
SELECT check_result_id, joint_id, observed_at, result, screening_ppmv, checked_by, notes, route_id
FROM check_result
WHERE site_id = current_site() AND client_uuid = %(client_uuid)s;

-- name: add_check
-- One result, as reported.
INSERT INTO check_result (site_id, joint_id, observed_at, result, screening_ppmv, checked_by, notes, route_id, client_uuid)
VALUES (current_site(), %(joint_id)s, %(observed_at)s, %(result)s, %(screening_ppmv)s, %(checked_by)s, %(notes)s,
        %(route_id)s, %(client_uuid)s)
RETURNING check_result_id;

-- name: add_checks
-- Many results, in the order in which they happened.
INSERT INTO check_result (site_id, joint_id, observed_at, result, screening_ppmv, checked_by, notes, intake_id)
SELECT current_site(), g.joint_id, g.observed_at, g.result, g.screening_ppmv, g.checked_by, g.notes, %(intake_id)s::integer
FROM unnest(%(joint_id)s::integer[], %(observed_at)s::timestamptz[], %(result)s::text[],
            %(screening_ppmv)s::double precision[], %(checked_by)s::text[], %(notes)s::text[])
     AS g (joint_id, observed_at, result, screening_ppmv, checked_by, notes)
ORDER BY g.observed_at, g.joint_id;

-- name: joint_at_stop
-- The joint of a route's stop, or no row.
SELECT joint_id FROM route_stop
WHERE site_id = current_site() AND route_id = %(route_id)s AND position = %(position)s AND joint_id IS NOT NULL;

-- name: joint_on_route
-- The joint of this tag or number, if it is on the route, or no row.
SELECT s.joint_id FROM route_stop s
JOIN joint j ON j.site_id = s.site_id AND j.joint_id = s.joint_id
WHERE s.site_id = current_site() AND s.route_id = %(route_id)s
  AND (j.joint_id = %(joint_id)s::integer OR j.tag = %(tag)s::text);

-- name: tag_of_joint
-- The tag of a joint, or no row.
SELECT tag FROM joint WHERE site_id = current_site() AND joint_id = %(joint_id)s;

-- name: route_exists
-- Whether the site has the route.
SELECT EXISTS (SELECT FROM route WHERE site_id = current_site() AND route_id = %(route_id)s);

-- name: list_checks_of_joints
-- What the ledger says of the given joints.
SELECT c.joint_id, c.observed_at, c.result, c.screening_ppmv
FROM check_result c
WHERE c.site_id = current_site() AND c.joint_id = ANY (%(joint_ids)s::integer[])
  AND NOT EXISTS (SELECT FROM check_result n WHERE n.site_id = c.site_id AND n.supersedes = c.check_result_id)
ORDER BY c.check_result_id;
