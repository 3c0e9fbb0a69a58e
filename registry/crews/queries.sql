-- owns: crew, crew_absence, outage, outage_area

-- name: list_crews
-- Crews by name: all of them, one by its number, or one by its name in whatever letters.
SELECT crew_id, name, families, minutes_by_weekday, shift_starts_at, from_on, until_on, revision, recorded_at
FROM crew
WHERE site_id = current_site() AND (%(crew_id)s::integer IS NULL OR crew_id = %(crew_id)s::integer)
  AND (%(name)s::text IS NULL OR lower(name) = lower(%(name)s::text))
ORDER BY lower(name);

-- name: add_crew
-- A new crew with the secret of its calendar's address.
INSERT INTO crew (site_id, name, families, minutes_by_weekday, shift_starts_at, from_on, until_on, calendar_secret)
VALUES (current_site(), %(name)s, %(families)s, %(minutes_by_weekday)s, %(shift_starts_at)s, %(from_on)s, %(until_on)s,
        %(calendar_secret)s)
RETURNING crew_id, name, families, minutes_by_weekday, shift_starts_at, from_on, until_on, revision, recorded_at;

-- name: save_crew
-- A crew as changed, if it is still at the revision that was seen (NULL: at whatever revision); else no row.
UPDATE crew
SET name = %(name)s, families = %(families)s, minutes_by_weekday = %(minutes_by_weekday)s,
    shift_starts_at = %(shift_starts_at)s, from_on = %(from_on)s, until_on = %(until_on)s, revision = revision + 1
WHERE site_id = current_site() AND crew_id = %(crew_id)s
  AND (%(revision)s::integer IS NULL OR revision = %(revision)s::integer)
RETURNING crew_id, name, families, minutes_by_weekday, shift_starts_at, from_on, until_on, revision, recorded_at;

-- name: raise_crew_revisions
-- What hangs on some crews has changed.
UPDATE crew SET revision = revision + 1 WHERE site_id = current_site() AND crew_id = ANY (%(crew_ids)s::integer[]);

-- name: read_calendar_secret
-- The secret of a crew's calendar.
SELECT calendar_secret FROM crew WHERE site_id = current_site() AND crew_id = %(crew_id)s;

-- name: save_calendar_secret
-- Another secret for a crew's calendar: the address with the old one is dead.
UPDATE crew SET calendar_secret = %(calendar_secret)s WHERE site_id = current_site() AND crew_id = %(crew_id)s;

-- name: list_absences
-- Days off, the first to come first: of all crews or of one.
SELECT crew_absence_id, crew_id, from_on, until_on, reason
FROM crew_absence
WHERE site_id = current_site() AND (%(crew_id)s::integer IS NULL OR crew_id = %(crew_id)s::integer)
ORDER BY from_on, until_on, crew_id, crew_absence_id;

-- name: add_absences
-- The same days off for some crews; for one that has just these already there is nothing to add.
INSERT INTO crew_absence (site_id, crew_id, from_on, until_on, reason)
SELECT c.site_id, c.crew_id, %(from_on)s::date, %(until_on)s::date, %(reason)s::text
FROM crew c
WHERE c.site_id = current_site() AND c.crew_id = ANY (%(crew_ids)s::integer[])
  AND NOT EXISTS (SELECT FROM crew_absence a
                  WHERE a.site_id = c.site_id AND a.crew_id = c.crew_id AND a.from_on = %(from_on)s::date
                    AND a.until_on = %(until_on)s::date AND a.reason = %(reason)s::text)
ORDER BY c.crew_id
RETURNING crew_absence_id, crew_id, from_on, until_on, reason;

-- name: remove_absence
-- The crew is there after all.
DELETE FROM crew_absence
WHERE site_id = current_site() AND crew_id = %(crew_id)s AND crew_absence_id = %(crew_absence_id)s;

-- name: list_outages
-- Outages with their areas, the first to come first: all of them, or one.
SELECT o.outage_id, o.name, o.from_on, o.until_on, o.revision,
       coalesce(array_agg(a.area_id ORDER BY a.area_id) FILTER (WHERE a.area_id IS NOT NULL), '{}') AS area_ids,
       coalesce(array_agg(a.name ORDER BY a.area_id) FILTER (WHERE a.area_id IS NOT NULL), '{}') AS areas
FROM outage o
LEFT JOIN outage_area oa ON oa.site_id = o.site_id AND oa.outage_id = o.outage_id
LEFT JOIN area a ON a.site_id = oa.site_id AND a.area_id = oa.area_id
WHERE o.site_id = current_site() AND (%(outage_id)s::integer IS NULL OR o.outage_id = %(outage_id)s::integer)
GROUP BY o.outage_id, o.name, o.from_on, o.until_on, o.revision
ORDER BY o.from_on, o.until_on, o.outage_id;

-- name: add_outage
-- A new outage; its areas come after it.
INSERT INTO outage (site_id, name, from_on, until_on)
VALUES (current_site(), %(name)s, %(from_on)s, %(until_on)s)
RETURNING outage_id;

-- name: save_outage
-- An outage as changed, if it is still at the revision that was seen (NULL: at whatever revision); else no row.
UPDATE outage SET name = %(name)s, from_on = %(from_on)s, until_on = %(until_on)s, revision = revision + 1
WHERE site_id = current_site() AND outage_id = %(outage_id)s
  AND (%(revision)s::integer IS NULL OR revision = %(revision)s::integer)
RETURNING outage_id;

-- name: remove_outage
-- An outage that will not be, with its areas, if it is still at the revision that was seen.
DELETE FROM outage
WHERE site_id = current_site() AND outage_id = %(outage_id)s
  AND (%(revision)s::integer IS NULL OR revision = %(revision)s::integer);

-- name: clear_outage_areas
-- Make room for the areas of an outage as changed.
DELETE FROM outage_area WHERE site_id = current_site() AND outage_id = %(outage_id)s;

-- name: add_outage_areas
-- The areas that an outage shuts down.
INSERT INTO outage_area (site_id, outage_id, area_id)
SELECT current_site(), %(outage_id)s::integer, a FROM unnest(%(area_ids)s::integer[]) a;
