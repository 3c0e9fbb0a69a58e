-- owns: family, service, line, joint, joint_change

-- name: add_new_families
-- Give every family of the newest policy a number, once.
INSERT INTO family (site_id, family_id, code)
SELECT current_site(), (SELECT coalesce(max(f.family_id), 0) FROM family f WHERE f.site_id = current_site())
                       + row_number() OVER (ORDER BY listed.place), listed.entry ->> 'code'
FROM policy_version p, jsonb_array_elements(p.document -> 'family') WITH ORDINALITY AS listed (entry, place)
WHERE p.site_id = current_site()
  AND p.policy_version = (SELECT max(n.policy_version) FROM policy_version n WHERE n.site_id = current_site())
  AND NOT EXISTS (SELECT FROM family f WHERE f.site_id = current_site() AND f.code = listed.entry ->> 'code');

-- name: add_new_services
-- Give every service of the newest policy a number, once.
INSERT INTO service (site_id, service_id, name)
SELECT current_site(), (SELECT coalesce(max(s.service_id), 0) FROM service s WHERE s.site_id = current_site())
                       + row_number() OVER (ORDER BY listed.place), listed.entry ->> 'name'
FROM policy_version p, jsonb_array_elements(p.document -> 'service') WITH ORDINALITY AS listed (entry, place)
WHERE p.site_id = current_site()
  AND p.policy_version = (SELECT max(n.policy_version) FROM policy_version n WHERE n.site_id = current_site())
  AND NOT EXISTS (SELECT FROM service s WHERE s.site_id = current_site() AND s.name = listed.entry ->> 'name');

-- name: list_families
-- The site's families with the label and aliases that the newest policy gives them.
SELECT f.family_id AS id, f.code AS name,
       ARRAY(SELECT jsonb_array_elements_text(coalesce(listed.entry -> 'aliases', '[]')
                    || coalesce(listed.entry -> 'label', '[]'))) AS aliases
FROM family f
LEFT JOIN policy_version p ON p.site_id = f.site_id
      AND p.policy_version = (SELECT max(n.policy_version) FROM policy_version n WHERE n.site_id = current_site())
LEFT JOIN LATERAL (SELECT entry FROM jsonb_array_elements(p.document -> 'family') AS entry
                   WHERE entry ->> 'code' = f.code) AS listed ON true
WHERE f.site_id = current_site()
ORDER BY f.family_id;

-- name: list_services
-- The site's services with the aliases that the newest policy gives them.
SELECT s.service_id AS id, s.name,
       ARRAY(SELECT jsonb_array_elements_text(coalesce(listed.entry -> 'aliases', '[]'))) AS aliases
FROM service s
LEFT JOIN policy_version p ON p.site_id = s.site_id
      AND p.policy_version = (SELECT max(n.policy_version) FROM policy_version n WHERE n.site_id = current_site())
LEFT JOIN LATERAL (SELECT entry FROM jsonb_array_elements(p.document -> 'service') AS entry
                   WHERE entry ->> 'name' = s.name) AS listed ON true
WHERE s.site_id = current_site()
ORDER BY s.service_id;

-- name: create_staged_joint
-- Where a joint list stands until it is compared: row-level security refuses COPY into the register itself.
CREATE TEMPORARY TABLE staged_joint (
    row integer, tag text, family_id smallint, service_id smallint, line text, area text, size_mm double precision,
    east_m double precision, north_m double precision, elevation_m double precision, pressure_barg double precision,
    temperature_degc double precision, fitter text, made_up_on date, make_up_method text,
    vibration_mm_s double precision, vibration_hz double precision, thermal_cycles_per_year double precision,
    thermal_range_degc double precision, access text, requires_outage boolean, notes text
) ON COMMIT DROP;

-- name: create_staged_change
-- What the staged list would change, joint by joint.
CREATE TEMPORARY TABLE staged_change (row integer, joint_id integer, tag text, changes jsonb) ON COMMIT DROP;

-- name: drop_staged
-- Make room for another list in the same transaction.
DROP TABLE IF EXISTS staged_joint, staged_change;

-- name: copy_staged_joint
-- Take the list's typed rows.
COPY staged_joint (
    row, tag, family_id, service_id, line, area, size_mm, east_m, north_m, elevation_m, pressure_barg,
    temperature_degc, fitter, made_up_on, make_up_method, vibration_mm_s, vibration_hz, thermal_cycles_per_year,
    thermal_range_degc, access, requires_outage, notes
) FROM STDIN (FORMAT csv);

-- name: any_joint
-- Whether the register holds a joint at all.
SELECT EXISTS (SELECT FROM joint WHERE site_id = current_site());

-- name: stage_changes
-- Compare the staged list with the register, column by column, where the file gives the column.
INSERT INTO staged_change (row, joint_id, tag, changes)
SELECT row, joint_id, tag, changes
FROM (
    SELECT s.row, j.joint_id, s.tag, CASE WHEN
        (s.family_id, s.service_id, s.line, s.area, s.size_mm, s.east_m, s.north_m, s.elevation_m, s.pressure_barg,
         s.temperature_degc, s.fitter, s.made_up_on, s.make_up_method, s.vibration_mm_s, s.vibration_hz,
         s.thermal_cycles_per_year, s.thermal_range_degc, s.access, s.requires_outage, s.notes) IS NOT DISTINCT FROM
        (j.family_id, j.service_id, l.code, a.name, j.size_mm, j.location[0], j.location[1], j.elevation_m,
         j.pressure_barg, j.temperature_degc, j.fitter, j.made_up_on, j.make_up_method, j.vibration_mm_s,
         j.vibration_hz, j.thermal_cycles_per_year, j.thermal_range_degc, j.access, j.requires_outage, j.notes)
        THEN NULL ELSE jsonb_strip_nulls(jsonb_build_object(
        'family', CASE WHEN s.family_id <> j.family_id THEN jsonb_build_array(
            (SELECT f.code FROM family f WHERE f.site_id = j.site_id AND f.family_id = j.family_id),
            (SELECT f.code FROM family f WHERE f.site_id = j.site_id AND f.family_id = s.family_id)) END,
        'size_mm', CASE WHEN 'size_mm' = ANY(%(given)s::text[]) AND s.size_mm IS DISTINCT FROM j.size_mm
            THEN jsonb_build_array(j.size_mm, s.size_mm) END,
        'line', CASE WHEN 'line' = ANY(%(given)s::text[]) AND s.line IS DISTINCT FROM l.code
            THEN jsonb_build_array(l.code, s.line) END,
        'area', CASE WHEN 'area' = ANY(%(given)s::text[]) AND s.area IS DISTINCT FROM a.name
            THEN jsonb_build_array(a.name, s.area) END,
        'service', CASE WHEN s.service_id <> j.service_id THEN jsonb_build_array(
            (SELECT v.name FROM service v WHERE v.site_id = j.site_id AND v.service_id = j.service_id),
            (SELECT v.name FROM service v WHERE v.site_id = j.site_id AND v.service_id = s.service_id)) END,
        'east_m', CASE WHEN s.east_m <> j.location[0] THEN jsonb_build_array(j.location[0], s.east_m) END,
        'north_m', CASE WHEN s.north_m <> j.location[1] THEN jsonb_build_array(j.location[1], s.north_m) END,
        'elevation_m', CASE WHEN 'elevation_m' = ANY(%(given)s::text[])
                AND s.elevation_m IS DISTINCT FROM j.elevation_m
            THEN jsonb_build_array(j.elevation_m, s.elevation_m) END,
        'pressure_barg', CASE WHEN s.pressure_barg <> j.pressure_barg
            THEN jsonb_build_array(j.pressure_barg, s.pressure_barg) END,
        'temperature_degc', CASE WHEN 'temperature_degc' = ANY(%(given)s::text[])
                AND s.temperature_degc IS DISTINCT FROM j.temperature_degc
            THEN jsonb_build_array(j.temperature_degc, s.temperature_degc) END,
        'fitter', CASE WHEN 'fitter' = ANY(%(given)s::text[]) AND s.fitter IS DISTINCT FROM j.fitter
            THEN jsonb_build_array(j.fitter, s.fitter) END,
        'made_up_on', CASE WHEN 'made_up_on' = ANY(%(given)s::text[]) AND s.made_up_on IS DISTINCT FROM j.made_up_on
            THEN jsonb_build_array(j.made_up_on, s.made_up_on) END,
        'make_up_method', CASE WHEN 'make_up_method' = ANY(%(given)s::text[])
                AND s.make_up_method IS DISTINCT FROM j.make_up_method
            THEN jsonb_build_array(j.make_up_method, s.make_up_method) END,
        'vibration_mm_s', CASE WHEN 'vibration_mm_s' = ANY(%(given)s::text[])
                AND s.vibration_mm_s IS DISTINCT FROM j.vibration_mm_s
            THEN jsonb_build_array(j.vibration_mm_s, s.vibration_mm_s) END,
        'vibration_hz', CASE WHEN 'vibration_hz' = ANY(%(given)s::text[])
                AND s.vibration_hz IS DISTINCT FROM j.vibration_hz
            THEN jsonb_build_array(j.vibration_hz, s.vibration_hz) END,
        'thermal_cycles_per_year', CASE WHEN 'thermal_cycles_per_year' = ANY(%(given)s::text[])
                AND s.thermal_cycles_per_year IS DISTINCT FROM j.thermal_cycles_per_year
            THEN jsonb_build_array(j.thermal_cycles_per_year, s.thermal_cycles_per_year) END,
        'thermal_range_degc', CASE WHEN 'thermal_range_degc' = ANY(%(given)s::text[])
                AND s.thermal_range_degc IS DISTINCT FROM j.thermal_range_degc
            THEN jsonb_build_array(j.thermal_range_degc, s.thermal_range_degc) END,
        'access', CASE WHEN 'access' = ANY(%(given)s::text[]) AND s.access IS DISTINCT FROM j.access
            THEN jsonb_build_array(j.access, s.access) END,
        'requires_outage', CASE WHEN 'requires_outage' = ANY(%(given)s::text[])
                AND s.requires_outage IS DISTINCT FROM j.requires_outage
            THEN jsonb_build_array(j.requires_outage, s.requires_outage) END,
        'notes', CASE WHEN 'notes' = ANY(%(given)s::text[]) AND s.notes IS DISTINCT FROM j.notes
            THEN jsonb_build_array(j.notes, s.notes) END
    )) END AS changes
    FROM staged_joint s
    JOIN joint j ON j.site_id = current_site() AND j.tag = s.tag
    LEFT JOIN line l ON l.site_id = j.site_id AND l.line_id = j.line_id
    LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id
) AS compared
WHERE changes <> '{}'::jsonb;

-- name: count_staged
-- How many staged joints the register knows, how many of them change, and in how many values.
SELECT (SELECT count(*) FROM staged_joint s JOIN joint j ON j.site_id = current_site() AND j.tag = s.tag) AS known,
       (SELECT count(*) FROM staged_change) AS changed,
       (SELECT count(*) FROM staged_change c, jsonb_object_keys(c.changes)) AS differences;

-- name: list_staged_changes
-- The first changes in the order of the file.
SELECT row, tag, changes FROM staged_change ORDER BY row LIMIT %(count)s;

-- name: add_lines
-- Lines named for the first time.
INSERT INTO line (site_id, code)
SELECT current_site(), named.code FROM unnest(%(codes)s::text[]) WITH ORDINALITY AS named (code, place)
WHERE NOT EXISTS (SELECT FROM line l WHERE l.site_id = current_site() AND l.code = named.code)
ORDER BY named.place;

-- name: add_joints
-- Joints that the register does not know yet.
INSERT INTO joint (
    site_id, tag, family_id, service_id, line_id, area_id, size_mm, location, elevation_m, pressure_barg,
    temperature_degc, fitter, made_up_on, make_up_method, vibration_mm_s, vibration_hz, thermal_cycles_per_year,
    thermal_range_degc, access, requires_outage, notes, intake_id)
SELECT (SELECT current_site()), s.tag, s.family_id, s.service_id, l.line_id, a.area_id, s.size_mm,
       point(s.east_m, s.north_m), s.elevation_m, s.pressure_barg, s.temperature_degc, s.fitter, s.made_up_on,
       s.make_up_method, s.vibration_mm_s, s.vibration_hz, s.thermal_cycles_per_year, s.thermal_range_degc, s.access,
       s.requires_outage, s.notes, %(intake_id)s
FROM staged_joint s
LEFT JOIN line l ON l.site_id = (SELECT current_site()) AND l.code = s.line
LEFT JOIN area a ON a.site_id = (SELECT current_site()) AND a.name = s.area
WHERE NOT EXISTS (SELECT FROM joint j WHERE j.site_id = (SELECT current_site()) AND j.tag = s.tag);

-- name: change_joints
-- Bring the changed joints to what the list says, and keep what stood before.
WITH noted AS (
    INSERT INTO joint_change (site_id, joint_id, intake_id, changes)
    SELECT current_site(), c.joint_id, %(intake_id)s, c.changes FROM staged_change c ORDER BY c.row
)
UPDATE joint j
SET family_id = s.family_id,
    service_id = s.service_id,
    line_id = CASE WHEN c.changes ? 'line' THEN l.line_id ELSE j.line_id END,
    area_id = CASE WHEN c.changes ? 'area' THEN a.area_id ELSE j.area_id END,
    size_mm = CASE WHEN c.changes ? 'size_mm' THEN s.size_mm ELSE j.size_mm END,
    location = point(s.east_m, s.north_m),
    elevation_m = CASE WHEN c.changes ? 'elevation_m' THEN s.elevation_m ELSE j.elevation_m END,
    pressure_barg = s.pressure_barg,
    temperature_degc = CASE WHEN c.changes ? 'temperature_degc' THEN s.temperature_degc ELSE j.temperature_degc END,
    fitter = CASE WHEN c.changes ? 'fitter' THEN s.fitter ELSE j.fitter END,
    made_up_on = CASE WHEN c.changes ? 'made_up_on' THEN s.made_up_on ELSE j.made_up_on END,
    make_up_method = CASE WHEN c.changes ? 'make_up_method' THEN s.make_up_method ELSE j.make_up_method END,
    vibration_mm_s = CASE WHEN c.changes ? 'vibration_mm_s' THEN s.vibration_mm_s ELSE j.vibration_mm_s END,
    vibration_hz = CASE WHEN c.changes ? 'vibration_hz' THEN s.vibration_hz ELSE j.vibration_hz END,
    thermal_cycles_per_year = CASE WHEN c.changes ? 'thermal_cycles_per_year' THEN s.thermal_cycles_per_year
                              ELSE j.thermal_cycles_per_year END,
    thermal_range_degc = CASE WHEN c.changes ? 'thermal_range_degc' THEN s.thermal_range_degc
                         ELSE j.thermal_range_degc END,
    access = CASE WHEN c.changes ? 'access' THEN s.access ELSE j.access END,
    requires_outage = CASE WHEN c.changes ? 'requires_outage' THEN s.requires_outage ELSE j.requires_outage END,
    notes = CASE WHEN c.changes ? 'notes' THEN s.notes ELSE j.notes END,
    intake_id = %(intake_id)s
FROM staged_change c
JOIN staged_joint s ON s.row = c.row
LEFT JOIN line l ON l.site_id = current_site() AND l.code = s.line
LEFT JOIN area a ON a.site_id = current_site() AND a.name = s.area
WHERE j.site_id = current_site() AND j.joint_id = c.joint_id;

-- name: count_unlisted
-- Joints of the register that the staged list does not name.
SELECT count(*) FROM joint j
WHERE j.site_id = current_site() AND NOT EXISTS (SELECT FROM staged_joint s WHERE s.tag = j.tag);

-- name: list_joints
-- Joints in the order of their tags, after a given tag.
SELECT j.joint_id, j.tag, f.code AS family, v.name AS service, l.code AS line, a.name AS area, j.size_mm,
       j.location[0] AS east_m, j.location[1] AS north_m, j.elevation_m, j.pressure_barg, j.temperature_degc, j.fitter,
       j.made_up_on, j.make_up_method, j.vibration_mm_s, j.vibration_hz, j.thermal_cycles_per_year,
       j.thermal_range_degc, j.access, j.requires_outage, j.notes, j.recorded_at
FROM joint j
JOIN family f ON f.site_id = j.site_id AND f.family_id = j.family_id
JOIN service v ON v.site_id = j.site_id AND v.service_id = j.service_id
LEFT JOIN line l ON l.site_id = j.site_id AND l.line_id = j.line_id
LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id
WHERE j.site_id = current_site()
  AND (%(after)s::text IS NULL OR j.tag > %(after)s::text)
  AND (%(area)s::text IS NULL OR j.area_id =
       (SELECT n.area_id FROM area n WHERE n.site_id = current_site() AND n.name = %(area)s::text))
  AND (%(family)s::text IS NULL OR j.family_id =
       (SELECT n.family_id FROM family n WHERE n.site_id = current_site() AND n.code = %(family)s::text))
  AND (%(service)s::text IS NULL OR j.service_id =
       (SELECT n.service_id FROM service n WHERE n.site_id = current_site() AND n.name = %(service)s::text))
  AND (%(line)s::text IS NULL OR j.line_id =
       (SELECT n.line_id FROM line n WHERE n.site_id = current_site() AND n.code = %(line)s::text))
  AND (%(tag_contains)s::text IS NULL OR strpos(lower(j.tag), lower(%(tag_contains)s::text)) > 0)
ORDER BY j.tag
LIMIT %(count)s;

-- name: read_joint
-- One joint by its tag.
SELECT j.joint_id, j.tag, f.code AS family, v.name AS service, l.code AS line, a.name AS area, j.size_mm,
       j.location[0] AS east_m, j.location[1] AS north_m, j.elevation_m, j.pressure_barg, j.temperature_degc, j.fitter,
       j.made_up_on, j.make_up_method, j.vibration_mm_s, j.vibration_hz, j.thermal_cycles_per_year,
       j.thermal_range_degc, j.access, j.requires_outage, j.notes, j.recorded_at
FROM joint j
JOIN family f ON f.site_id = j.site_id AND f.family_id = j.family_id
JOIN service v ON v.site_id = j.site_id AND v.service_id = j.service_id
LEFT JOIN line l ON l.site_id = j.site_id AND l.line_id = j.line_id
LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id
WHERE j.site_id = current_site() AND j.tag = %(tag)s;

-- name: list_joint_changes
-- What later joint lists changed on a joint, newest first.
SELECT c.changes, i.source_name, c.recorded_at
FROM joint_change c JOIN intake i ON i.site_id = c.site_id AND i.intake_id = c.intake_id
WHERE c.site_id = current_site() AND c.joint_id = %(joint_id)s
ORDER BY c.joint_change_id DESC LIMIT %(count)s;

-- name: list_tags
-- Every joint's tag with its id, for the files that name joints.
SELECT joint_id, tag FROM joint WHERE site_id = current_site();

-- name: list_lines
-- Every line's code with its id, for the files that name lines.
SELECT line_id, code FROM line WHERE site_id = current_site();

-- name: list_places
-- Where every joint is, and its area (0: none).
SELECT joint_id, location, coalesce(area_id, 0)
FROM joint WHERE site_id = current_site();

-- name: place_joints
-- Give joints their area (0: none).
UPDATE joint j SET area_id = nullif(p.area_id, 0)
FROM unnest(%(joint_ids)s::integer[], %(area_ids)s::integer[]) AS p (joint_id, area_id)
WHERE j.site_id = current_site() AND j.joint_id = p.joint_id;
