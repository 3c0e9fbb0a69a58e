-- owns: person, qualification, tool, calibration

-- name: list_papers
-- People with their qualifications: everybody, or one by name in whatever letters.
SELECT p.name, f.code AS family, q.size_from_mm, q.size_to_mm, q.valid_from_on, q.valid_until_on, q.certificate
FROM person p
LEFT JOIN qualification q ON q.site_id = p.site_id AND q.person_id = p.person_id
LEFT JOIN family f ON f.site_id = q.site_id AND f.family_id = q.family_id
WHERE p.site_id = current_site() AND (%(name)s::text IS NULL OR lower(p.name) = lower(%(name)s::text))
ORDER BY p.name, f.code NULLS FIRST, q.valid_from_on, q.qualification_id;

-- name: list_calibrations
-- Tools with their calibrations: every tool, or some by serial in whatever letters.
SELECT t.serial, t.kind, t.description, t.low_n_m, t.high_n_m, c.calibrated_on, c.valid_until_on, c.as_found, c.certificate
FROM tool t
LEFT JOIN calibration c ON c.site_id = t.site_id AND c.tool_id = t.tool_id
WHERE t.site_id = current_site()
  AND (%(serials)s::text[] IS NULL OR lower(t.serial) = ANY (SELECT lower(s) FROM unnest(%(serials)s::text[]) s))
ORDER BY t.serial, c.calibrated_on;

-- name: list_expiring
-- The last paper of each person and family and range of sizes, and of each tool, where it ends by a day.
SELECT 'qualification' AS kind, p.name AS subject, coalesce(f.code, 'every family') AS detail, q.valid_until_on, q.certificate
FROM (SELECT DISTINCT ON (person_id, family_id, size_from_mm, size_to_mm) *
      FROM qualification WHERE site_id = current_site()
      ORDER BY person_id, family_id, size_from_mm, size_to_mm, valid_until_on DESC NULLS FIRST) q
JOIN person p ON p.site_id = q.site_id AND p.person_id = q.person_id
LEFT JOIN family f ON f.site_id = q.site_id AND f.family_id = q.family_id
WHERE q.valid_until_on <= %(until_on)s::date
UNION ALL
SELECT 'calibration', t.serial, t.kind, c.valid_until_on, c.certificate
FROM (SELECT DISTINCT ON (tool_id) * FROM calibration WHERE site_id = current_site()
      ORDER BY tool_id, calibrated_on DESC) c
JOIN tool t ON t.site_id = c.site_id AND t.tool_id = c.tool_id
WHERE c.valid_until_on <= %(until_on)s::date
ORDER BY 4, 1, 2, 3;

-- name: add_people
-- People whom the register does not have yet.
INSERT INTO person (site_id, name)
SELECT DISTINCT ON (lower(g.name)) current_site(), g.name
FROM unnest(%(names)s::text[]) WITH ORDINALITY AS g (name, position)
ORDER BY lower(g.name), g.position
ON CONFLICT DO NOTHING;

-- name: add_qualifications
-- Qualifications of people whom the register has.
INSERT INTO qualification (site_id, person_id, family_id, size_from_mm, size_to_mm, valid_from_on, valid_until_on, certificate)
SELECT p.site_id, p.person_id, f.family_id, g.size_from_mm, g.size_to_mm, g.valid_from_on, g.valid_until_on, g.certificate
FROM unnest(%(name)s::text[], %(family)s::text[], %(size_from_mm)s::double precision[], %(size_to_mm)s::double precision[],
            %(valid_from_on)s::date[], %(valid_until_on)s::date[], %(certificate)s::text[])
     AS g (name, family, size_from_mm, size_to_mm, valid_from_on, valid_until_on, certificate)
JOIN person p ON p.site_id = current_site() AND lower(p.name) = lower(g.name)
LEFT JOIN family f ON f.site_id = p.site_id AND f.code = g.family;

-- name: add_tools
-- Tools that the register does not have yet.
INSERT INTO tool (site_id, serial, kind, description, low_n_m, high_n_m)
SELECT current_site(), g.serial, g.kind, g.description, g.low_n_m, g.high_n_m
FROM unnest(%(serial)s::text[], %(kind)s::text[], %(description)s::text[], %(low_n_m)s::double precision[],
            %(high_n_m)s::double precision[]) AS g (serial, kind, description, low_n_m, high_n_m);

-- name: add_calibrations
-- Calibrations of tools that the register has.
INSERT INTO calibration (site_id, tool_id, calibrated_on, valid_until_on, as_found, certificate)
SELECT t.site_id, t.tool_id, g.calibrated_on, g.valid_until_on, g.as_found, g.certificate
FROM unnest(%(serial)s::text[], %(calibrated_on)s::date[], %(valid_until_on)s::date[], %(as_found)s::text[],
            %(certificate)s::text[]) AS g (serial, calibrated_on, valid_until_on, as_found, certificate)
JOIN tool t ON t.site_id = current_site() AND lower(t.serial) = lower(g.serial);
