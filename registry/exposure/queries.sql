-- owns: vibration_reading, temperature_history

-- name: list_known_readings
-- Readings that stand under the same subject, place, time and frequency as the given ones, with their velocity.
SELECT g.number, v.velocity_mm_s
FROM unnest(%(number)s::integer[], %(joint_id)s::integer[], %(line_id)s::integer[], %(observed_at)s::timestamptz[],
            %(frequency_hz)s::double precision[], %(east_m)s::double precision[], %(north_m)s::double precision[])
     AS g (number, joint_id, line_id, observed_at, frequency_hz, east_m, north_m)
JOIN vibration_reading v
  ON v.site_id = current_site() AND v.joint_id IS NOT DISTINCT FROM g.joint_id
 AND v.line_id IS NOT DISTINCT FROM g.line_id AND v.observed_at = g.observed_at
 AND v.frequency_hz IS NOT DISTINCT FROM g.frequency_hz
 AND v.location[0] IS NOT DISTINCT FROM g.east_m AND v.location[1] IS NOT DISTINCT FROM g.north_m;

-- name: add_readings
-- Vibration readings on joints, or at places on lines.
INSERT INTO vibration_reading (site_id, joint_id, line_id, location, velocity_mm_s, frequency_hz, observed_at, intake_id)
SELECT current_site(), g.joint_id, g.line_id, point(g.east_m, g.north_m), g.velocity_mm_s, g.frequency_hz, g.observed_at,
       %(intake_id)s::integer
FROM unnest(%(joint_id)s::integer[], %(line_id)s::integer[], %(east_m)s::double precision[], %(north_m)s::double precision[],
            %(velocity_mm_s)s::double precision[], %(frequency_hz)s::double precision[], %(observed_at)s::timestamptz[])
     AS g (joint_id, line_id, east_m, north_m, velocity_mm_s, frequency_hz, observed_at);

-- name: list_histories_of
-- The temperature histories of the given joints and lines, oldest first.
SELECT joint_id, line_id, observed_at, temperature_degc, began_at, ended_at
FROM temperature_history
WHERE site_id = current_site()
  AND (joint_id = ANY (%(joint_ids)s::integer[]) OR line_id = ANY (%(line_ids)s::integer[]))
ORDER BY began_at;

-- name: add_history
-- One subject's temperatures with their rainflow count.
INSERT INTO temperature_history (site_id, joint_id, line_id, observed_at, temperature_degc, began_at, ended_at,
                                 cycle_range_degc, cycle_count, intake_id)
VALUES (current_site(), %(joint_id)s, %(line_id)s, %(observed_at)s, %(temperature_degc)s, %(began_at)s, %(ended_at)s,
        %(cycle_range_degc)s, %(cycle_count)s, %(intake_id)s);

-- name: read_line_readings
-- The newest reading of each place and frequency on the lines (of the given joints, or of all); columns, none of them null.
SELECT DISTINCT ON (v.line_id, v.location[0], v.location[1], v.frequency_hz)
       v.line_id, v.location[0] AS east_m, v.location[1] AS north_m, v.velocity_mm_s,
       coalesce(v.frequency_hz, 'NaN') AS frequency_hz
FROM vibration_reading v
WHERE v.site_id = current_site() AND v.joint_id IS NULL
  AND (%(joint_ids)s::integer[] IS NULL
       OR v.line_id IN (SELECT j.line_id FROM joint j
                        WHERE j.site_id = current_site() AND j.joint_id = ANY (%(joint_ids)s::integer[])))
ORDER BY v.line_id, v.location[0], v.location[1], v.frequency_hz, v.observed_at DESC;

-- name: read_thermal_histories
-- The counted cycles of joints and lines (of the given joints, or of all), oldest first.
SELECT coalesce(h.joint_id, 0) AS joint_id, coalesce(h.line_id, 0) AS line_id,
       extract(epoch FROM h.ended_at - h.began_at)::double precision / (86400 * 365.25) AS span_years,
       h.cycle_range_degc AS range_degc, h.cycle_count AS count
FROM temperature_history h
WHERE h.site_id = current_site()
  AND (%(joint_ids)s::integer[] IS NULL
       OR h.joint_id = ANY (%(joint_ids)s::integer[])
       OR h.line_id IN (SELECT j.line_id FROM joint j
                        WHERE j.site_id = current_site() AND j.joint_id = ANY (%(joint_ids)s::integer[])))
ORDER BY h.began_at;

-- name: read_vibration_zones
-- The vibration sources of the plot plan; columns, none of them null.
SELECT (f.geometry -> 'coordinates' ->> 0)::double precision AS east_m,
       (f.geometry -> 'coordinates' ->> 1)::double precision AS north_m,
       (f.properties ->> 'velocity_mm_s')::double precision AS velocity_mm_s,
       (f.properties ->> 'frequency_hz')::double precision AS frequency_hz,
       (f.properties ->> 'radius_m')::double precision AS radius_m,
       (f.properties ->> 'decay')::double precision AS decay
FROM plan_feature f
WHERE f.site_id = current_site() AND f.kind = 'vibration_source'
ORDER BY f.plan_feature_id;
