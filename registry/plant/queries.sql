-- owns: area, plan_feature

-- name: list_areas
-- Every area that the site ever had, by number; some may have no outline in the present plan.
SELECT area_id, name, occupancy FROM area WHERE site_id = current_site() ORDER BY area_id;

-- name: add_areas
-- Add the named areas that the site does not have yet, in the given order.
INSERT INTO area (site_id, name)
SELECT current_site(), named.name FROM unnest(%(names)s::text[]) WITH ORDINALITY AS named (name, place)
WHERE NOT EXISTS (SELECT FROM area a WHERE a.site_id = current_site() AND a.name = named.name)
ORDER BY named.place;

-- name: rename_area
-- Give an area the name that the drawing has for it.
UPDATE area SET name = %(name)s WHERE site_id = current_site() AND area_id = %(area_id)s;

-- name: save_occupancies
-- How often people are in each area, as the plan says.
UPDATE area a SET occupancy = p.occupancy
FROM unnest(%(names)s::text[], %(occupancies)s::text[]) AS p (name, occupancy)
WHERE a.site_id = current_site() AND a.name = p.name AND a.occupancy <> p.occupancy;

-- name: read_plan_source
-- The file that the present plan came from, or no row.
SELECT i.intake_id, i.source_name, i.content_sha256, i.recorded_at
FROM intake i
WHERE i.site_id = current_site()
  AND i.intake_id = (SELECT max(f.intake_id) FROM plan_feature f WHERE f.site_id = current_site());

-- name: read_georeference
-- Where the plant grid lies in the world, or no row.
SELECT epsg, grid_to_epsg FROM site
WHERE site_id = current_site() AND epsg IS NOT NULL AND grid_to_epsg IS NOT NULL;

-- name: list_features
-- The features of the present plan, in the order of its file.
SELECT kind, name, area_id, properties, geometry FROM plan_feature
WHERE site_id = current_site() ORDER BY plan_feature_id;

-- name: drop_features
-- Make room for another plan.
DELETE FROM plan_feature WHERE site_id = current_site();

-- name: add_features
-- The features of a plan, each area with its number.
INSERT INTO plan_feature (site_id, intake_id, kind, name, area_id, properties, geometry)
SELECT current_site(), %(intake_id)s, f.kind, f.name, a.area_id, f.properties, f.geometry
FROM jsonb_to_recordset(%(features)s::text::jsonb)
     AS f (number integer, kind text, name text, properties jsonb, geometry jsonb)
LEFT JOIN area a ON a.site_id = current_site() AND f.kind = 'area' AND a.name = f.name
ORDER BY f.number;
