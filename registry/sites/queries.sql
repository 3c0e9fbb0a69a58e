-- owns: site

-- name: list_sites
-- Every site of this database, by code.
SELECT site_id, code, name FROM site_directory();

-- name: add_site
-- Make a site; the owner's right only.
INSERT INTO site (code, name) VALUES (%(code)s, %(name)s) RETURNING site_id, code, name;

-- name: place_site
-- Where a site's plant grid lies in the world; the owner's right only.
UPDATE site SET epsg = %(epsg)s, grid_to_epsg = %(grid_to_epsg)s WHERE site_id = %(site_id)s;

-- name: read_time_zone
-- The zone in which the site's shifts and days are meant.
SELECT time_zone FROM site WHERE site_id = current_site();

-- name: save_time_zone
-- In which zone the site's shifts and days are meant; the owner's right only.
UPDATE site SET time_zone = %(time_zone)s WHERE site_id = %(site_id)s;

-- name: remove_site
-- Take an empty site away again; the owner's right only.
DELETE FROM site WHERE site_id = %(site_id)s;

-- name: refresh_statistics
-- What the planner knows of the tables, after a bulk load; the owner's right only.
ANALYZE;
