-- owns: policy_version, policy_draft

-- name: take_policy_lock
-- One change of a site's policy at a time.
SELECT pg_advisory_xact_lock(hashtext('policy'), current_site());

-- name: read_current_policy
-- The newest published version.
SELECT policy_version, document, published_by, note, published_at
FROM policy_version WHERE site_id = current_site()
ORDER BY policy_version DESC LIMIT 1;

-- name: read_policy
-- One published version.
SELECT policy_version, document, published_by, note, published_at
FROM policy_version WHERE site_id = current_site() AND policy_version = %(policy_version)s;

-- name: read_stamp
-- A published version (the newest, where none is asked for) by its number and the hash of its document, which is much less
-- to read than the document.
SELECT policy_version, encode(sha256(convert_to(document::text, 'UTF8')), 'hex')
FROM policy_version
WHERE site_id = current_site() AND (%(policy_version)s::integer IS NULL OR policy_version = %(policy_version)s::integer)
ORDER BY policy_version DESC LIMIT 1;

-- name: list_policies
-- Every published version, newest first, without its document.
SELECT policy_version, published_by, note, published_at
FROM policy_version WHERE site_id = current_site()
ORDER BY policy_version DESC;

-- name: add_policy
-- Publish a document as the next version.
INSERT INTO policy_version (site_id, policy_version, document, published_by, note)
SELECT current_site(), coalesce(max(policy_version), 0) + 1, %(document)s::jsonb, %(published_by)s, %(note)s
FROM policy_version WHERE site_id = current_site()
RETURNING policy_version, document, published_by, note, published_at;

-- name: read_draft
-- The draft, or no row.
SELECT based_on, document, revision, edited_at FROM policy_draft WHERE site_id = current_site();

-- name: save_draft
-- Put a document in the draft's place, or begin one; the revision counts the saves.
INSERT INTO policy_draft (site_id, based_on, document)
VALUES (current_site(), %(based_on)s, %(document)s::jsonb)
ON CONFLICT (site_id) DO UPDATE
SET based_on = excluded.based_on, document = excluded.document, revision = policy_draft.revision + 1, edited_at = now()
RETURNING based_on, document, revision, edited_at;

-- name: drop_draft
-- Throw the draft away.
DELETE FROM policy_draft WHERE site_id = current_site();

-- name: list_names_in_use
-- The families and services that joints of the register stand under.
SELECT 'family' AS kind, f.code AS name FROM family f
WHERE f.site_id = current_site()
  AND EXISTS (SELECT FROM joint j WHERE j.site_id = f.site_id AND j.family_id = f.family_id)
UNION ALL
SELECT 'service', s.name FROM service s
WHERE s.site_id = current_site()
  AND EXISTS (SELECT FROM joint j WHERE j.site_id = s.site_id AND j.service_id = s.service_id)
ORDER BY kind, name;
