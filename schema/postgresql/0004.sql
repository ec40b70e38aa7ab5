-- What keeps everybody but the owner of the tables to what he may, whatever program asks: with revision 0004.
--
-- Whoever isn't the owner inserts events (and the items that a definition brings), and nothing else. Each is held
-- against the people and permissions of the definition; the states that follow from it, the end of what it corrects
-- and the tree over the journal are written here, by the owner's functions, and never by
-- him. These run with the owner's rights and search path; what they call nobody else may call.

-- --- numbers and canonical JSON (RFC 8785) ---------------------------------------------------------------------------

CREATE FUNCTION cfgtrack_shortest(said text) RETURNS numeric LANGUAGE plpgsql IMMUTABLE AS $$
DECLARE
    float float8 := said::float8;
    exact numeric := float::text::numeric;
    short numeric;
BEGIN
    -- Of what is no exact integer any more the server tells more digits than tell it apart.
    FOR digits IN 1 .. CASE WHEN abs(exact) < 9007199254740992 THEN 0 ELSE 17 END LOOP
        short := round(exact, digits - length(trunc(abs(exact))::text));
        IF abs(short) >= 1.7976931348623158e308 THEN
            CONTINUE;
        ELSIF short::float8 = float THEN
            RETURN short;
        END IF;
    END LOOP;
    RETURN exact;
END $$;

CREATE FUNCTION cfgtrack_large(exact numeric) RETURNS text LANGUAGE sql IMMUTABLE AS $$
    SELECT CASE WHEN exact < 0 THEN '-' ELSE '' END || left(digits, 1)
        || rtrim('.' || rtrim(substr(digits, 2), '0'), '.') || 'e+' || length(digits) - 1
    FROM (SELECT trunc(abs(exact))::text AS digits) AS told
$$;

CREATE FUNCTION cfgtrack_number(said text) RETURNS text LANGUAGE plpgsql IMMUTABLE AS $$
DECLARE
    exact numeric;
BEGIN
    IF said ~ '^(0|-?[1-9][0-9]{0,14})$' THEN
        RETURN said;
    END IF;
    exact := cfgtrack_shortest(said);
    IF exact = 0 THEN
        RETURN '0';
    ELSIF abs(exact) < 0.000001 THEN
        RETURN regexp_replace(said::float8::text, 'e-0+', 'e-');
    ELSIF abs(exact) < 1000000000000000000000 THEN
        RETURN trim_scale(exact)::text;
    END IF;
    RETURN cfgtrack_large(exact);
END $$;

CREATE FUNCTION cfgtrack_reading(said text) RETURNS text LANGUAGE plpgsql IMMUTABLE AS $$
DECLARE
    exact numeric := cfgtrack_shortest(said);
    text_of text := trim_scale(exact)::text;
BEGIN
    IF exact <> 0 AND abs(exact) < 0.0001 THEN
        RETURN said::float8::text;
    ELSIF abs(exact) >= 10000000000000000 THEN
        RETURN cfgtrack_large(exact);
    END IF;
    RETURN CASE WHEN text_of ~ '[.]' THEN text_of ELSE text_of || '.0' END;
END $$;

CREATE FUNCTION cfgtrack_canonical(value json) RETURNS text LANGUAGE plpgsql IMMUTABLE AS $$
DECLARE
    found text;
    keys bigint;
BEGIN
    CASE json_typeof(value)
    WHEN 'object' THEN
        SELECT string_agg(to_json(e.key)::text || ':' || cfgtrack_canonical(e.value), ',' ORDER BY e.key COLLATE "C"),
            count(*) - count(DISTINCT e.key)
        INTO found, keys FROM json_each(value) AS e;
        -- One name twice is no canonical object.
        RETURN CASE WHEN keys = 0 THEN '{' || coalesce(found, '') || '}' ELSE '' END;
    WHEN 'array' THEN
        SELECT string_agg(cfgtrack_canonical(e.value), ',' ORDER BY e.place) INTO found
        FROM json_array_elements(value) WITH ORDINALITY AS e(value, place);
        RETURN '[' || coalesce(found, '') || ']';
    WHEN 'string' THEN
        RETURN to_json(value #>> '{}')::text;
    WHEN 'number' THEN
        RETURN cfgtrack_number(value #>> '{}');
    ELSE
        RETURN value::text;
    END CASE;
END $$;

-- --- the definition as it is told now (`settled`: by what was committed), at an instant ------------------------------

CREATE FUNCTION cfgtrack_item(wanted_sort text, wanted_id text, instant bigint, settled boolean) RETURNS jsonb
LANGUAGE sql STABLE AS $$
    SELECT i.body::jsonb FROM item i JOIN event e ON e.number = i.load
    WHERE i.sort = wanted_sort AND i.id = wanted_id
        AND (e.action = 'define' OR (e.action IN ('revise', 'retire') AND e.happened <= instant))
        AND NOT EXISTS (SELECT 1 FROM event x WHERE x.corrects = e.number
            AND (NOT settled OR x.number <= (SELECT max(h.number) FROM tree_head h)))
        AND (NOT settled OR e.number <= (SELECT max(h.number) FROM tree_head h))
    ORDER BY CASE WHEN e.action = 'define' THEN -9223372036854775807 ELSE e.happened END DESC,
        e.turn DESC, e.number DESC
    LIMIT 1
$$;

CREATE FUNCTION cfgtrack_items(wanted_sort text, instant bigint, settled boolean) RETURNS SETOF jsonb
LANGUAGE sql STABLE AS $$
    SELECT found.body FROM (SELECT DISTINCT i.id FROM item i WHERE i.sort = wanted_sort) AS named,
        LATERAL (SELECT cfgtrack_item(wanted_sort, named.id, instant, settled) AS body) AS found
    WHERE found.body IS NOT NULL
$$;

CREATE FUNCTION cfgtrack_part_of(owner text, instant bigint) RETURNS jsonb LANGUAGE plpgsql STABLE AS $$
DECLARE
    thing jsonb;
BEGIN
    IF cfgtrack_item('retired', owner, instant, false) IS NULL THEN
        thing := cfgtrack_item('unit', owner, instant, false);
    END IF;
    thing := coalesce(thing, cfgtrack_item('place', owner, instant, false));
    RETURN cfgtrack_item('part', thing ->> 'part', instant, false);
END $$;

CREATE FUNCTION cfgtrack_kind_of(address text, instant bigint) RETURNS jsonb LANGUAGE plpgsql STABLE AS $$
DECLARE
    owner text := split_part(address, ':', 1);
    found text;
BEGIN
    SELECT p.value ->> 'kind' INTO found
    FROM jsonb_array_elements(cfgtrack_part_of(owner, instant) -> 'ports') AS p
    WHERE owner || ':' || (p.value ->> 'name') = address;
    RETURN cfgtrack_item('kind', found, instant, false);
END $$;

CREATE FUNCTION cfgtrack_is_there(address text, instant bigint) RETURNS boolean LANGUAGE plpgsql STABLE AS $$
DECLARE
    owner text := split_part(address, ':', 1);
    inside text := nullif(substr(address, length(split_part(address, ':', 1)) + 2), '');
    part jsonb;
BEGIN
    IF inside IS NULL THEN
        RETURN cfgtrack_item('place', owner, instant, false) IS NOT NULL
            OR cfgtrack_item('part', owner, instant, false) IS NOT NULL
            OR (cfgtrack_item('unit', owner, instant, false) IS NOT NULL
                AND cfgtrack_item('retired', owner, instant, false) IS NULL);
    END IF;
    part := cfgtrack_part_of(owner, instant);
    RETURN EXISTS (
        SELECT 1 FROM jsonb_array_elements(part -> 'nodes') AS n WHERE n.value ->> 'name' = inside
        UNION ALL SELECT 1 FROM jsonb_array_elements(part -> 'ports') AS p WHERE p.value ->> 'name' = inside
            OR EXISTS (SELECT 1 FROM jsonb_array_elements(p.value -> 'contacts') AS c
                WHERE (p.value ->> 'name') || ':' || (c.value ->> 'name') = inside));
END $$;

CREATE FUNCTION cfgtrack_is_mobile(owner text, instant bigint, settled boolean) RETURNS boolean
LANGUAGE sql STABLE AS $$
    SELECT coalesce((cfgtrack_item('place', owner, instant, settled) -> 'mobile')::boolean, false)
$$;

-- --- people and permissions ------------------------------------------------------------------------------------------

CREATE FUNCTION cfgtrack_list(said jsonb) RETURNS jsonb LANGUAGE sql IMMUTABLE AS $$
    SELECT CASE WHEN jsonb_typeof(said) = 'array' THEN said ELSE '[]' END
$$;

CREATE FUNCTION cfgtrack_has_roles(instant bigint) RETURNS boolean LANGUAGE sql STABLE AS $$
    SELECT EXISTS (SELECT 1 FROM cfgtrack_items('person', instant, true) AS person
        WHERE cfgtrack_list(person -> 'roles') <> '[]')
$$;

CREATE FUNCTION cfgtrack_person(login text, instant bigint) RETURNS jsonb LANGUAGE sql STABLE AS $$
    SELECT person FROM cfgtrack_items('person', instant, true) AS person WHERE person ->> 'user' = login
$$;

CREATE FUNCTION cfgtrack_has(person jsonb, kind text) RETURNS boolean LANGUAGE sql IMMUTABLE AS $$
    SELECT cfgtrack_list(person -> 'roles') ? kind OR (kind = 'look' AND cfgtrack_list(person -> 'roles') <> '[]')
$$;

CREATE FUNCTION cfgtrack_fits(name text, patterns jsonb) RETURNS boolean LANGUAGE sql IMMUTABLE AS $$
    SELECT EXISTS (SELECT 1 FROM jsonb_array_elements_text(cfgtrack_list(patterns)) AS pattern WHERE name LIKE
        replace(replace(replace(replace(replace(pattern, '\', '\\'), '%', '\%'), '_', '\_'), '*', '%'), '?', '_'))
$$;

CREATE FUNCTION cfgtrack_covers(area jsonb, address text, instant bigint, settled boolean) RETURNS boolean
LANGUAGE plpgsql STABLE AS $$
DECLARE
    owner text := split_part(address, ':', 1);
    inside text := nullif(substr(address, length(split_part(address, ':', 1)) + 2), '');
    shell text := split_part(inside, ':', 1);
    unit jsonb;
    thing jsonb;
    part jsonb;
    port jsonb;
    node jsonb;
    stands text;
    fits boolean := false;
BEGIN
    IF cfgtrack_item('retired', owner, instant, settled) IS NULL THEN
        unit := cfgtrack_item('unit', owner, instant, settled);
    END IF;
    thing := coalesce(unit, cfgtrack_item('place', owner, instant, settled));
    IF thing IS NULL THEN
        RETURN false;
    END IF;
    part := cfgtrack_item('part', thing ->> 'part', instant, settled);
    IF inside IS NOT NULL THEN
        SELECT p.value INTO port FROM jsonb_array_elements(part -> 'ports') AS p WHERE p.value ->> 'name' = shell;
        SELECT n.value INTO node FROM jsonb_array_elements(part -> 'nodes') AS n WHERE n.value ->> 'name' = inside;
        node := coalesce(port, node);
    END IF;
    IF area ? 'ids' AND NOT cfgtrack_fits(address, area -> 'ids') AND NOT cfgtrack_fits(owner, area -> 'ids')
        AND NOT (inside IS NOT NULL AND cfgtrack_fits(owner || ':' || shell, area -> 'ids')) THEN
        RETURN false;
    END IF;
    IF area ? 'parts' AND NOT cfgtrack_fits(coalesce(thing ->> 'part', ''), area -> 'parts') THEN
        RETURN false;
    END IF;
    IF area ? 'kinds' AND (port IS NULL OR NOT area -> 'kinds' ? (port ->> 'kind')) THEN
        RETURN false;
    END IF;
    IF area ? 'places' THEN
        stands := CASE WHEN unit IS NULL THEN owner ELSE unit ->> 'home' END;
        WHILE coalesce(stands, '') <> '' AND NOT fits LOOP
            fits := cfgtrack_fits(stands, area -> 'places');
            stands := cfgtrack_item('place', stands, instant, settled) ->> 'parent';
        END LOOP;
        IF NOT fits THEN
            RETURN false;
        END IF;
    END IF;
    IF area ? 'loops'
        AND NOT area -> 'loops' ? coalesce(nullif(node ->> 'loop', ''), thing ->> 'loop', '') THEN
        RETURN false;
    END IF;
    RETURN NOT area ? 'tags' OR area -> 'tags' ?| ARRAY(
        SELECT jsonb_array_elements_text(coalesce(one -> 'tags', '[]')) FROM unnest(ARRAY[thing, part, node]) AS one);
END $$;

CREATE FUNCTION cfgtrack_outside(person jsonb, kind text, things text[], instant bigint) RETURNS text
LANGUAGE plpgsql STABLE AS $$
DECLARE
    areas jsonb[] := ARRAY(
        SELECT coalesce(one -> 'on', '{}') FROM cfgtrack_items('permission', instant, true) AS one
        WHERE cfgtrack_list(one -> 'may') ? kind AND EXISTS (
            SELECT 1 FROM jsonb_array_elements_text(cfgtrack_list(one -> 'who')) AS who
            WHERE who = person ->> 'id' OR cfgtrack_has(person, who)));
BEGIN
    IF cardinality(areas) = 0 THEN
        RETURN NULL;
    END IF;
    RETURN (SELECT thing FROM unnest(things) AS thing
        WHERE NOT EXISTS (SELECT 1 FROM unnest(areas) AS area WHERE cfgtrack_covers(area, thing, instant, true)) LIMIT 1);
END $$;

CREATE FUNCTION cfgtrack_now() RETURNS bigint LANGUAGE sql VOLATILE AS $$
    SELECT (extract(epoch FROM clock_timestamp()) * 1000000)::bigint
$$;

CREATE FUNCTION cfgtrack_may_look() RETURNS boolean
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = {schema}, pg_temp AS $$
    SELECT NOT cfgtrack_has_roles(cfgtrack_now()) OR cfgtrack_has(cfgtrack_person(session_user, cfgtrack_now()), 'look')
$$;

-- --- what an event writes --------------------------------------------------------------------------------------------

CREATE FUNCTION cfgtrack_texts(said jsonb, field text) RETURNS SETOF text LANGUAGE sql IMMUTABLE AS $$
    SELECT jsonb_array_elements_text(coalesce(said -> field, '[]'))
$$;

CREATE FUNCTION cfgtrack_named(said jsonb, field text) RETURNS SETOF text LANGUAGE sql IMMUTABLE AS $$
    SELECT jsonb_object_keys(coalesce(said -> field, '{}'))
$$;

CREATE FUNCTION cfgtrack_written(said jsonb) RETURNS SETOF text LANGUAGE sql IMMUTABLE AS $$
    SELECT cfgtrack_texts(said, 'subjects') UNION SELECT cfgtrack_texts(said, 'moved')
    UNION SELECT cfgtrack_texts(said, 'parted') UNION SELECT cfgtrack_named(said, 'carried')
    UNION SELECT cfgtrack_named(said, 'ends') UNION SELECT cfgtrack_named(said, 'found')
$$;

CREATE FUNCTION cfgtrack_done_on(said jsonb, instant bigint) RETURNS text[] LANGUAGE sql STABLE AS $$
    SELECT ARRAY(SELECT thing FROM (SELECT cfgtrack_written(said) UNION SELECT said ->> 'place') AS one(thing)
        WHERE thing IS NOT NULL AND (position(':' IN thing) > 0 OR NOT cfgtrack_is_mobile(thing, instant, true)))
$$;

CREATE FUNCTION cfgtrack_mentioned(said jsonb) RETURNS SETOF text LANGUAGE sql IMMUTABLE AS $$
    SELECT cfgtrack_written(said) UNION SELECT said ->> 'peer' UNION SELECT said ->> 'place'
    UNION SELECT m.value FROM unnest(ARRAY['carried', 'ends', 'found']) AS field,
        jsonb_each_text(coalesce(said -> field, '{}')) AS m
$$;

CREATE FUNCTION cfgtrack_is_value(name text, told jsonb) RETURNS boolean LANGUAGE sql IMMUTABLE AS $$
    SELECT jsonb_typeof(told -> 'value') = 'number' AND jsonb_typeof(told -> 'shown') = 'number'
        AND jsonb_typeof(told -> 'unit') = 'string' AND told - '{value,shown,unit,dimension}'::text[] = '{}'
        AND told -> 'dimension' = '
{"angle": "angle", "clearance": "length", "count": "count", "current": "current", "cycles": "count",
"energy": "energy", "flow": "flow", "force": "force", "gap": "length", "insulation-resistance":
"resistance", "leak-rate": "leak rate", "length": "length", "level": "ratio", "mass": "mass",
"power": "power", "preload": "force", "pressure": "pressure", "resistance": "resistance",
"temperature": "temperature", "time": "time", "torque": "torque", "turns": "count", "voltage":
"voltage", "volume": "volume"}
'::jsonb -> name
$$;

CREATE FUNCTION cfgtrack_rank(kind jsonb, status text) RETURNS bigint LANGUAGE sql IMMUTABLE AS $$
    SELECT s.place FROM jsonb_array_elements_text(kind -> 'statuses') WITH ORDINALITY AS s(status, place)
    WHERE s.status = cfgtrack_rank.status
$$;

CREATE FUNCTION cfgtrack_is_joined(kind jsonb, status text) RETURNS boolean LANGUAGE sql IMMUTABLE AS $$
    SELECT coalesce(cfgtrack_rank(kind, status) >= cfgtrack_rank(kind, kind ->> 'joined'), false)
$$;

CREATE FUNCTION cfgtrack_parted(kind jsonb) RETURNS text LANGUAGE sql IMMUTABLE AS $$
    SELECT coalesce(
        (SELECT s.status FROM jsonb_array_elements_text(kind -> 'statuses') WITH ORDINALITY AS s(status, place)
         WHERE NOT cfgtrack_is_joined(kind, s.status) ORDER BY s.place DESC LIMIT 1),
        nullif(kind ->> 'initial', ''), kind -> 'statuses' ->> 0)
$$;

CREATE FUNCTION cfgtrack_half(address text, status text, mate text, cycle integer) RETURNS jsonb
LANGUAGE sql IMMUTABLE AS $$
    SELECT jsonb_build_array(jsonb_build_array(address, '', status, mate, cycle))
$$;

CREATE FUNCTION cfgtrack_kind_or_refuse(address text, instant bigint) RETURNS jsonb LANGUAGE plpgsql STABLE AS $$
DECLARE
    kind jsonb := cfgtrack_kind_of(address, instant);
BEGIN
    IF kind IS NULL THEN
        RAISE EXCEPTION 'cfgtrack: there is no port %', address USING ERRCODE = '42501';
    END IF;
    RETURN kind;
END $$;

CREATE FUNCTION cfgtrack_put(said jsonb) RETURNS jsonb LANGUAGE sql IMMUTABLE AS $$
    SELECT cfgtrack_half(said -> 'subjects' ->> 0, said ->> 'place', said ->> 'facing', 0)
        || coalesce((SELECT jsonb_agg(jsonb_build_array(rider, '', said ->> 'place', NULL, 0))
                     FROM cfgtrack_texts(said, 'moved') AS rider), '[]')
$$;

CREATE FUNCTION cfgtrack_device(action text, happened bigint, said jsonb) RETURNS jsonb LANGUAGE plpgsql IMMUTABLE AS $$
DECLARE
    thing text := said -> 'subjects' ->> 0;
    holder text := said -> 'subjects' ->> 1;
    later text := said -> 'subjects' ->> 2;
    id text := said ->> 'id';
    put text := happened::text;
BEGIN
    IF holder IS NULL OR (action = 'transfer') <> (later IS NOT NULL) THEN
        RAISE EXCEPTION 'cfgtrack: % says not whose lock or tag it is', said ->> 'id' USING ERRCODE = '42501';
    END IF;
    RETURN CASE action
        WHEN 'transfer' THEN jsonb_build_array(
            jsonb_build_array(thing, '!lock ' || holder, '', id, 0),
            jsonb_build_array(thing, '!lock ' || later, put, id, 0))
        WHEN 'cut' THEN jsonb_build_array(
            jsonb_build_array(thing, '!lock ' || holder, '', id, 0),
            jsonb_build_array(thing, '!tag ' || holder, '', id, 0))
        WHEN 'lock' THEN jsonb_build_array(jsonb_build_array(thing, '!lock ' || holder, put, id, 0))
        WHEN 'unlock' THEN jsonb_build_array(jsonb_build_array(thing, '!lock ' || holder, '', id, 0))
        WHEN 'tag' THEN jsonb_build_array(jsonb_build_array(thing, '!tag ' || holder, put, id, 0))
        ELSE jsonb_build_array(jsonb_build_array(thing, '!tag ' || holder, '', id, 0))
    END;
END $$;

CREATE FUNCTION cfgtrack_effects(action text, happened bigint, said jsonb) RETURNS jsonb LANGUAGE plpgsql STABLE AS $$
DECLARE
    effects jsonb := '[]';
    one text;
    other text;
    place bigint;
    kind jsonb;
    move jsonb;
    status text;
    number integer := jsonb_array_length(coalesce(said -> 'subjects', '[]'));
    first_kind jsonb;
BEGIN
    FOR one, other IN SELECT * FROM jsonb_each_text(coalesce(said -> 'found', '{}')) LOOP
        effects := effects || cfgtrack_half(one, other, NULL, 0);
    END LOOP;
    FOR one IN SELECT cfgtrack_texts(said, 'parted') LOOP
        effects := effects || cfgtrack_half(one, cfgtrack_parted(cfgtrack_kind_or_refuse(one, happened)), NULL, 0);
    END LOOP;
    IF action IN ('lock', 'unlock', 'transfer', 'cut', 'tag', 'untag') THEN
        first_kind := cfgtrack_kind_of(said -> 'subjects' ->> 0, happened);
    END IF;
    IF action IN ('place', 'lift') OR (action = 'as-found' AND said ? 'place') THEN
        effects := effects || cfgtrack_put(said);
    ELSIF action = 'as-found' THEN
        IF said ? 'status' THEN
            FOR one, place IN SELECT * FROM jsonb_array_elements_text(said -> 'subjects') WITH ORDINALITY LOOP
                kind := cfgtrack_kind_or_refuse(one, happened);
                status := CASE WHEN kind -> 'statuses' ? (said ->> 'status') THEN said ->> 'status'
                    ELSE cfgtrack_parted(kind) END;
                other := CASE WHEN number = 2 THEN said -> 'subjects' ->> (2 - place)::integer ELSE said ->> 'peer' END;
                effects := effects || cfgtrack_half(
                    one, status, CASE WHEN cfgtrack_is_joined(kind, status) THEN other END, 0);
            END LOOP;
            FOR one IN SELECT cfgtrack_texts(said, 'moved') LOOP
                effects := effects || cfgtrack_half(
                    one, cfgtrack_parted(cfgtrack_kind_or_refuse(one, happened)), NULL, 0);
            END LOOP;
        END IF;
    ELSIF action IN ('measure', 'inspect', 'remark', 'begin', 'end', 'withdraw', 'explain', 'define', 'approve',
        'acknowledge', 'revise', 'retire') THEN
        NULL;
    ELSIF action IN ('lock', 'unlock', 'transfer', 'cut', 'tag', 'untag')
        AND NOT EXISTS (SELECT 1 FROM jsonb_array_elements(first_kind -> 'moves') AS m
            WHERE m.value ->> 'action' = cfgtrack_effects.action) THEN
        effects := effects || cfgtrack_device(action, happened, said);
    ELSE
        FOR one, place IN SELECT * FROM jsonb_array_elements_text(said -> 'subjects') WITH ORDINALITY LOOP
            kind := cfgtrack_kind_or_refuse(one, happened);
            SELECT m.value INTO move FROM jsonb_array_elements(kind -> 'moves') AS m
                WHERE m.value ->> 'action' = cfgtrack_effects.action;
            IF move IS NULL THEN
                RAISE EXCEPTION 'cfgtrack: % can''t be done to %', action, one USING ERRCODE = '42501';
            END IF;
            other := CASE WHEN number = 2 THEN said -> 'subjects' ->> (2 - place)::integer ELSE said ->> 'peer' END;
            effects := effects || cfgtrack_half(one, move ->> 'target',
                CASE WHEN cfgtrack_is_joined(kind, move ->> 'target') THEN other END,
                CASE WHEN (move -> 'cycle')::boolean THEN 1 ELSE 0 END);
        END LOOP;
        IF said ? 'place' THEN
            FOR one IN SELECT cfgtrack_texts(said, 'moved') LOOP
                effects := effects || cfgtrack_half(one, said ->> 'place', NULL, 0);
            END LOOP;
        END IF;
    END IF;
    effects := effects || coalesce((
        SELECT jsonb_agg(jsonb_build_array(s.value, q.key, cfgtrack_reading(q.value ->> 'value'), q.value ->> 'unit',
            CASE WHEN q.key = 'cycles' THEN round((q.value ->> 'value')::numeric) ELSE 0 END))
        FROM jsonb_each(coalesce(said -> 'values', '{}')) AS q,
            jsonb_array_elements_text(coalesce(said -> 'subjects', '[]')) AS s), '[]');
    effects := effects || coalesce((SELECT jsonb_agg(jsonb_build_array(c.key, '', c.value, NULL, 0))
        FROM jsonb_each_text(coalesce(said -> 'carried', '{}')) AS c), '[]');
    effects := effects || coalesce((SELECT jsonb_agg(jsonb_build_array(e.key, '#', e.value, NULL, 0))
        FROM jsonb_each_text(coalesce(said -> 'ends', '{}')) AS e), '[]');
    IF coalesce(said ->> 'expected', '') <> '' AND action <> 'as-found' AND coalesce(said ->> 'by', '') <> '' THEN
        effects := effects || jsonb_build_array(jsonb_build_array(said ->> 'by', '?', '', NULL, 0));
    END IF;
    RETURN effects;
END $$;

CREATE FUNCTION cfgtrack_owners(action text, happened bigint, said jsonb) RETURNS SETOF text LANGUAGE sql STABLE AS $$
    SELECT DISTINCT split_part(thing, ':', 1)
    FROM (SELECT cfgtrack_written(said) UNION SELECT said ->> 'peer' UNION SELECT said ->> 'place') AS one(thing)
    WHERE thing IS NOT NULL
    UNION SELECT said ->> 'by' WHERE said ? 'by' AND NOT said ? 'supersedes' AND NOT said ? 'initial'
        AND action NOT IN ('remark', 'begin', 'end', 'withdraw', 'explain', 'define', 'approve', 'acknowledge',
            'revise', 'retire')
        AND cfgtrack_is_mobile(said ->> 'by', happened, false)
        AND EXISTS (SELECT 1 FROM cfgtrack_items('place', happened, false) AS place WHERE (place -> 'site')::boolean)
$$;

CREATE FUNCTION cfgtrack_disturbs(action text, happened bigint, said jsonb) RETURNS bigint LANGUAGE sql IMMUTABLE AS $$
    SELECT CASE WHEN action = 'define' OR said ? 'initial' THEN -9223372036854775807
        WHEN action IN ('revise', 'retire') THEN happened - 1 ELSE happened END
$$;

CREATE FUNCTION cfgtrack_derive(this event, said jsonb, target event) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO touch (owner, happened, number)
    SELECT cfgtrack_owners(this.action, this.happened, said), this.happened, this.number
    UNION SELECT cfgtrack_owners(target.action, this.happened, target.body::jsonb), this.happened, this.number
    WHERE this.action = 'withdraw';
    INSERT INTO change (subject, aspect, happened, turn, number, known, until, value, other, cycle)
    SELECT DISTINCT ON (subject, aspect) subject,
        CASE WHEN aspect = '' AND position(':' IN subject) = 0 THEN '@' ELSE aspect END,
        this.happened, this.turn, this.number, this.known, 9223372036854775807, value, other, cycle
    FROM (
        SELECT e.value ->> 0 AS subject, e.value ->> 1 AS aspect, e.value ->> 2 AS value, e.value ->> 3 AS other,
            (e.value ->> 4)::integer AS cycle, e.place
        FROM jsonb_array_elements(cfgtrack_effects(this.action, this.happened, said)) WITH ORDINALITY AS e(value, place)
    ) AS written ORDER BY subject, aspect, place DESC;
    UPDATE change SET until = this.known WHERE number = this.corrects AND until <> this.known;
    DELETE FROM checkpoint WHERE at >= least(
        cfgtrack_disturbs(this.action, this.happened, said),
        cfgtrack_disturbs(target.action, target.happened, target.body::jsonb));
    DELETE FROM settled WHERE at > (SELECT coalesce(max(at), -9223372036854775807) FROM checkpoint);
END $$;

-- --- what is let in --------------------------------------------------------------------------------------------------

CREATE FUNCTION cfgtrack_refuse(why text) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'cfgtrack: %', why USING ERRCODE = '42501';
END $$;

CREATE FUNCTION cfgtrack_is_form(said jsonb, form text) RETURNS boolean LANGUAGE sql IMMUTABLE AS $$
    SELECT CASE
        WHEN form IN ('texts', 'things') THEN jsonb_typeof(said) = 'array' AND NOT EXISTS (
            SELECT 1 FROM jsonb_array_elements(cfgtrack_list(said)) AS one
            WHERE jsonb_typeof(one) <> CASE form WHEN 'texts' THEN 'string' ELSE 'object' END)
        WHEN form = 'any' THEN true
        ELSE jsonb_typeof(said) = form END
$$;

CREATE FUNCTION cfgtrack_expect_bounds(said jsonb) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    action text := said ->> 'action';
    head jsonb := said #> '{body,head}';
    happened numeric := (said ->> 'happened')::numeric;
    clock numeric := coalesce((said ->> 'clock')::numeric, 0);
    one text;
BEGIN
    -- From the year 1 to 2255, with a day's room for every zone: what all readers of JSON keep exactly (RFC 8785).
    IF happened <> trunc(happened) OR happened NOT BETWEEN -62135510400000000 AND 9007112800740991
        OR clock <> trunc(clock) OR abs(clock) > 9007199254740991 THEN
        PERFORM cfgtrack_refuse('a time is a whole number of microseconds, of the years 1 to 2255');
    END IF;
    IF said ? 'body' AND action NOT IN ('define', 'revise', 'retire', 'approve')
        AND NOT (action IN ('begin', 'end') AND said -> 'body' = jsonb_build_object('head', head)) THEN
        PERFORM cfgtrack_refuse(format('%s brings nothing of that sort', action));
    END IF;
    IF action IN ('begin', 'end') AND said ? 'body' AND (jsonb_typeof(head) <> 'object'
        OR head - '{root,size}'::text[] <> '{}' OR coalesce(jsonb_typeof(head -> 'size'), '') <> 'number'
        OR coalesce(head ->> 'size', '') !~ '^[0-9]{1,18}$' OR coalesce(head ->> 'root', '') !~ '^[0-9a-f]{64}$'
        OR NOT EXISTS (SELECT 1 FROM tree_head h WHERE h.number = (head ->> 'size')::bigint
            AND encode(h.root, 'hex') = head ->> 'root')) THEN
        PERFORM cfgtrack_refuse('what is handed over is a head that this journal had');
    END IF;
    IF action = 'approve' AND (SELECT bool_or(CASE f.key WHEN 'fingerprints' THEN NOT cfgtrack_is_form(f.value, 'texts')
            WHEN 'rule' THEN jsonb_typeof(f.value) <> 'string' WHEN 'fingerprint' THEN jsonb_typeof(f.value) <> 'string'
            WHEN 'planned' THEN f.value::text !~ '^[1-9][0-9]{0,8}$'
            WHEN 'start' THEN f.value::text !~ '^-?[0-9]{1,16}$' WHEN 'end' THEN f.value::text !~ '^-?[0-9]{1,16}$'
            ELSE true END) FROM jsonb_each(coalesce(said -> 'body', '{}')) AS f) THEN
        PERFORM cfgtrack_refuse('an approval names findings, a rule, and from when till when');
    END IF;
    FOREACH one IN ARRAY '{subjects,moved,parted}'::text[] LOOP
        IF (SELECT count(*) <> count(DISTINCT t) FROM cfgtrack_texts(said, one) AS t) THEN
            PERFORM cfgtrack_refuse(format('%s: one thing is named twice', one));
        END IF;
    END LOOP;
    FOR one IN SELECT f.value #>> '{}' FROM jsonb_each(said) AS f WHERE jsonb_typeof(f.value) = 'string'
            AND f.key IN ('id', 'action', 'outing', 'by', 'recorder', 'facing', 'status') LOOP
        IF length(one) > 602 THEN
            PERFORM cfgtrack_refuse('a name is not as long as that');
        END IF;
    END LOOP;
    IF coalesce(said ->> 'id', '') = '' THEN
        PERFORM cfgtrack_refuse('an event has an id');
    END IF;
END $$;

-- Where something is, as it is told of an instant: by the last change that counts, else where it was at first.
CREATE FUNCTION cfgtrack_stands(thing text, instant bigint) RETURNS text LANGUAGE sql STABLE AS $$
    SELECT coalesce(
        (SELECT c.value FROM change c WHERE c.subject = thing AND c.aspect = '@' AND c.happened <= instant
            AND c.until = 9223372036854775807 ORDER BY c.happened DESC, c.turn DESC LIMIT 1),
        cfgtrack_item('place', thing, instant, false) ->> 'parent')
$$;

CREATE FUNCTION cfgtrack_expect_standing(this event, said jsonb) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    thing text;
    place text;
    around text;
    steps integer;
BEGIN
    FOR thing, place IN
        SELECT e.value ->> 0, e.value ->> 2 FROM jsonb_array_elements(
            cfgtrack_effects(this.action, this.happened, said)) AS e
        WHERE position(':' IN e.value ->> 0) = 0 AND e.value ->> 1 = ''
    LOOP
        IF NOT cfgtrack_is_mobile(thing, this.happened, false)
            AND cfgtrack_item('unit', thing, this.happened, false) IS NULL THEN
            PERFORM cfgtrack_refuse(format('%s can''t be moved', thing));
        END IF;
        IF coalesce(place, '') <> '' AND cfgtrack_item('place', place, this.happened, false) IS NULL THEN
            PERFORM cfgtrack_refuse(format('%s is no place', place));
        END IF;
        around := place;
        steps := 0;
        WHILE coalesce(around, '') <> '' LOOP
            steps := steps + 1;
            IF around = thing OR steps > 1000 THEN
                PERFORM cfgtrack_refuse(format('%s would be inside itself', thing));
            END IF;
            around := cfgtrack_stands(around, this.happened);
        END LOOP;
    END LOOP;
END $$;

CREATE FUNCTION cfgtrack_expect_form(this event, said jsonb, target event) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    leaf text := '{"event":' || this.body || ',"known":' || this.known || ',"login":' || to_json(this.login)::text
        || ',"number":' || this.number || coalesce(',"signed":' || this.signed, '') || ',"version":3}';
    one text;
    form text;
    last bigint;
    is_own boolean;
BEGIN
    IF jsonb_typeof(said) <> 'object' OR cfgtrack_canonical(this.body::json) <> this.body THEN
        PERFORM cfgtrack_refuse('what an event says is a canonical JSON object (RFC 8785)');
    END IF;
    FOR one, form IN SELECT f.key, jsonb_typeof(f.value) || coalesce(
            (SELECT ' of ' || string_agg(DISTINCT jsonb_typeof(i), ' ') FROM (
                SELECT a.value
                FROM jsonb_array_elements(CASE WHEN jsonb_typeof(f.value) = 'array' THEN f.value END) AS a
                UNION ALL SELECT o.value
                FROM jsonb_each(CASE WHEN jsonb_typeof(f.value) = 'object' AND f.key <> 'body' THEN f.value END) AS o
            ) AS inner_values(i)), '')
        FROM jsonb_each(said) AS f LOOP
        IF form IS DISTINCT FROM (CASE
            WHEN one IN ('subjects', 'moved', 'parted') THEN 'array of string'
            WHEN one IN ('carried', 'ends', 'found') THEN 'object of string'
            WHEN one = 'values' THEN 'object of object'
            WHEN one = 'body' THEN 'object'
            WHEN one IN ('happened', 'clock') THEN 'number'
            WHEN one = 'initial' THEN 'boolean'
            WHEN one IN ('id', 'action', 'place', 'facing', 'status', 'by', 'recorder', 'basis', 'outing', 'remark',
                'supersedes', 'withdraws', 'explains', 'acknowledges', 'reason', 'peer', 'expected') THEN 'string' END)
        THEN
            PERFORM cfgtrack_refuse(format('%s: an event says no such thing, or says it in another form', one));
        END IF;
    END LOOP;
    FOR one IN SELECT v.key FROM jsonb_each(coalesce(said -> 'values', '{}')) AS v
        WHERE NOT coalesce(cfgtrack_is_value(v.key, v.value), false) LOOP
        PERFORM cfgtrack_refuse(format('%s: nothing is measured so', one));
    END LOOP;
    IF coalesce(said ->> 'basis', 'reported') NOT IN ('reported', 'witnessed', 'measured') THEN
        PERFORM cfgtrack_refuse('an event is reported, witnessed or measured');
    END IF;
    IF said ? 'explains' AND NOT EXISTS (SELECT 1 FROM event e WHERE e.id = said ->> 'explains') THEN
        PERFORM cfgtrack_refuse('there is nothing to explain');
    END IF;
    FOR one IN SELECT m FROM cfgtrack_mentioned(said) AS m
        WHERE m <> '' AND this.action NOT IN ('define', 'revise', 'retire')
            AND NOT cfgtrack_is_there(m, this.happened) LOOP
        PERFORM cfgtrack_refuse(format('there is no %s', one));
    END LOOP;
    PERFORM cfgtrack_expect_bounds(said);
    IF this.action NOT IN ('define', 'revise', 'retire', 'approve', 'acknowledge', 'withdraw', 'explain') THEN
        PERFORM cfgtrack_expect_standing(this, said);
    END IF;
    IF said ->> 'id' IS DISTINCT FROM this.id OR said ->> 'action' IS DISTINCT FROM this.action
        OR (said ->> 'happened')::numeric IS DISTINCT FROM this.happened THEN
        PERFORM cfgtrack_refuse('an event''s columns are what it says');
    END IF;
    IF this.corrects IS DISTINCT FROM target.number OR this.number <= target.number
        OR (target.number IS NULL AND (said ? 'supersedes' OR said ? 'withdraws')) THEN
        PERFORM cfgtrack_refuse('an event corrects the one that it names');
    END IF;
    IF target.action IN ('define', 'withdraw') OR (
        (target.action IN ('revise', 'retire') OR (target.number IS NOT NULL AND this.action IN ('revise', 'retire')))
        AND this.action NOT IN (target.action, 'withdraw')) THEN
        PERFORM cfgtrack_refuse(format('%s can''t be corrected so', target.id));
    END IF;
    IF this.turn <> (CASE WHEN said ? 'supersedes' AND target.happened = this.happened THEN target.turn
        ELSE this.number END) THEN
        PERFORM cfgtrack_refuse('an event has its own turn, or that of what it corrects in place');
    END IF;
    IF this.number <> 1 AND NOT EXISTS (
        SELECT 1 FROM event e WHERE e.number = this.number - 1 AND e.known < this.known) THEN
        PERFORM cfgtrack_refuse('an event comes after the last one, and is known later');
    END IF;
    SELECT e.known, e.number > coalesce((SELECT max(h.number) FROM tree_head h), 0) INTO last, is_own
    FROM event e WHERE e.number = this.number - 1;
    IF this.known > greatest(cfgtrack_now(), last + 1) OR (NOT coalesce(is_own, false)
        AND this.known < (extract(epoch FROM transaction_timestamp()) * 1000000)::bigint) THEN
        PERFORM cfgtrack_refuse('an event becomes known when this server''s clock says');
    END IF;
    IF this.leaf <> sha256('\x00'::bytea || convert_to(leaf, 'UTF8')) THEN
        PERFORM cfgtrack_refuse('an event''s leaf is the hash of what it says');
    END IF;
END $$;

CREATE FUNCTION cfgtrack_kind(action text, said jsonb) RETURNS text LANGUAGE sql IMMUTABLE AS $$
    SELECT CASE WHEN action IN ('define', 'revise', 'retire') OR said ? 'initial' OR said ->> 'id' LIKE 'initial:%'
        THEN 'define' WHEN action IN ('approve', 'acknowledge') THEN 'approve' ELSE 'record' END
$$;

CREATE FUNCTION cfgtrack_kinds(action text, said jsonb, target event) RETURNS text[] LANGUAGE sql STABLE AS $$
    SELECT CASE WHEN target.number IS NULL THEN ARRAY[cfgtrack_kind(action, said)]
    ELSE ARRAY(SELECT DISTINCT CASE WHEN kind = 'record' THEN 'correct' ELSE kind END FROM unnest(ARRAY[
        cfgtrack_kind(target.action, target.body::jsonb),
        CASE WHEN action = 'withdraw' THEN 'record' ELSE cfgtrack_kind(action, said) END]) AS kind
        WHERE kind <> 'record' OR cfgtrack_kind(target.action, target.body::jsonb) = 'record') END
$$;

CREATE FUNCTION cfgtrack_role_for(sort text) RETURNS text LANGUAGE sql IMMUTABLE AS $$
    SELECT CASE WHEN sort IN ('person', 'permission', 'setting') THEN 'administer' ELSE 'define' END
$$;

CREATE FUNCTION cfgtrack_kinds_of_load(load bigint) RETURNS text[] LANGUAGE sql STABLE AS $$
    SELECT ARRAY(SELECT DISTINCT cfgtrack_role_for(i.sort) FROM item i WHERE i.load = cfgtrack_kinds_of_load.load)
$$;

CREATE FUNCTION cfgtrack_expect_allowed(this event, said jsonb, target event) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    person jsonb := cfgtrack_person(session_user, this.known);
    kind text;
    kinds text[] := cfgtrack_kinds(this.action, said, target);
    outside text;
    explained jsonb := (SELECT e.body::jsonb FROM event e WHERE e.id = said ->> 'explains');
BEGIN
    IF person IS NULL THEN
        PERFORM cfgtrack_refuse(format('the user %s is no person of this plant', session_user));
    END IF;
    IF coalesce(said ->> 'recorder', '') <> person ->> 'id'
        OR coalesce(this.signed::jsonb ->> 'by', person ->> 'id') <> person ->> 'id' THEN
        PERFORM cfgtrack_refuse(format('%s records for nobody else', person ->> 'id'));
    END IF;
    IF this.action IN ('approve', 'acknowledge')
        AND coalesce(said ->> 'by', person ->> 'id') NOT IN (person ->> 'id', coalesce(person ->> 'place', '')) THEN
        PERFORM cfgtrack_refuse(format('%s approves for nobody else', person ->> 'id'));
    END IF;
    IF target.number IS NOT NULL AND 'define' = ANY (kinds) THEN
        kinds := kinds || cfgtrack_kinds_of_load(target.number);
    ELSIF this.action IN ('define', 'revise', 'retire') THEN
        -- What it brings is held against his roles when all of it is there.
        kinds := CASE WHEN cfgtrack_has(person, 'administer') THEN '{}' ELSE kinds END;
    END IF;
    FOREACH kind IN ARRAY kinds LOOP
        IF NOT cfgtrack_has(person, kind) THEN
            PERFORM cfgtrack_refuse(format('%s hasn''t the role %s', person ->> 'id', kind));
        END IF;
        outside := cfgtrack_outside(person, kind, cfgtrack_done_on(said, this.known)
            || CASE WHEN target.number IS NULL THEN '{}'
               ELSE cfgtrack_done_on(target.body::jsonb, this.known) END
            || CASE WHEN explained IS NULL THEN '{}' ELSE cfgtrack_done_on(explained, this.known) END, this.known);
        IF outside IS NOT NULL THEN
            PERFORM cfgtrack_refuse(format('%s may not %s at %s', person ->> 'id', kind, outside));
        END IF;
    END LOOP;
END $$;

CREATE FUNCTION cfgtrack_take_in() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = {schema}, pg_temp SET extra_float_digits = 1 AS $$
DECLARE
    said jsonb := NEW.body::jsonb;
    target event;
BEGIN
    SELECT * INTO target FROM event e WHERE e.id = coalesce(said ->> 'supersedes', said ->> 'withdraws');
    PERFORM cfgtrack_expect_form(NEW, said, target);
    IF NEW.signed IS NULL AND cfgtrack_item('setting', 'unsigned-events', NEW.known, true) ->> 'value' = 'refused' THEN
        PERFORM cfgtrack_refuse('this plant takes signed events alone');
    END IF;
    IF cfgtrack_has_roles(NEW.known) THEN
        PERFORM cfgtrack_expect_allowed(NEW, said, target);
    END IF;
    PERFORM cfgtrack_derive(NEW, said, target);
    RETURN NULL;
END $$;

-- --- what a load brings ----------------------------------------------------------------------------------------------

-- The fields of each sort of item, and the form of each; with ! those that it must have.
CREATE FUNCTION cfgtrack_fields(sort text) RETURNS jsonb LANGUAGE sql IMMUTABLE AS $$
    SELECT '{
"medium": {"id": "string!", "title": "string", "upstream": "boolean", "volumes_need": "string"},
"kind": {"id": "string!", "medium": "any!", "statuses": "texts!", "moves": "move*!", "title": "string",
    "initial": "string", "joined": "any", "carries": "any", "flexible": "boolean", "fits": "texts", "grip": "boolean",
    "tether": "boolean"},
"part": {"id": "string!", "title": "string", "mass": "number", "ports": "port*", "nodes": "node*",
    "links": "link*", "flexible": "boolean", "thermal": "thermal.", "trapped": "number", "tags": "texts",
    "remote": "object", "aliases": "texts", "attributes": "object", "lock_box": "boolean"},
"unit": {"id": "string!", "part": "string!", "title": "string", "home": "string", "loop": "string", "tags": "texts",
    "aliases": "texts", "attributes": "object"},
"place": {"id": "string!", "parent": "string", "title": "string", "part": "string", "holds": "boolean",
    "mobile": "boolean", "capacity": "number", "facings": "texts", "sink": "number", "loop": "string",
    "tags": "texts", "site": "boolean", "operates": "string", "aliases": "texts", "attributes": "object",
    "lifts": "number", "lock_box": "boolean"},
"setting": {"id": "string!", "value": "string!"},
"person": {"id": "string!", "title": "string", "roles": "texts", "place": "string", "key": "string",
    "user": "string"},
"permission": {"id": "string!", "who": "texts!", "may": "texts!", "on": "object", "title": "string"},
"rules": {"text": "string!", "id": "string"},
"retired": {"id": "string"},
"move": {"action": "string!", "sources": "texts!", "target": "string!", "each": "boolean", "cycle": "boolean"},
"contact": {"name": "string!", "medium": "string!", "loop": "string", "tags": "texts", "title": "string",
    "aliases": "texts", "attributes": "object", "rated_current": "number"},
"port": {"name": "string!", "kind": "string!", "size": "string", "keying": "string", "gender": "string",
    "flexible": "boolean", "loop": "string", "tags": "texts", "cycles": "number", "torque": "array",
    "pattern": "string", "title": "string", "site": "string", "remote": "texts", "reach": "texts",
    "contacts": "contact*", "aliases": "texts", "attributes": "object", "rated_pressure": "number",
    "rated_current": "number"},
"node": {"name": "string!", "medium": "string!", "litres": "number", "source": "boolean", "expansion": "boolean",
    "load": "boolean", "loop": "string", "tags": "texts", "title": "string", "remote": "texts", "aliases": "texts",
    "attributes": "object", "rated_pressure": "number"},
"link": {"a": "string!", "b": "string!", "gate": "string", "one_way": "boolean"},
"thermal": {"capacity": "number!", "leak": "number!", "start": "number!", "limit": "number!", "heater": "number",
    "biot": "number"}
}'::jsonb -> sort
$$;

-- What is wrong with the fields of an item, or of what is in it; null for nothing.
CREATE FUNCTION cfgtrack_wrong_field(sort text, said jsonb) RETURNS text LANGUAGE plpgsql IMMUTABLE AS $$
DECLARE
    fields jsonb := cfgtrack_fields(sort);
    one text;
    form text;
    wrong text;
BEGIN
    IF jsonb_typeof(said) <> 'object' THEN
        RETURN '';
    END IF;
    FOR one, form IN SELECT f.key, rtrim(fields ->> f.key, '!') FROM jsonb_each(said) AS f LOOP
        IF form LIKE '%*' AND jsonb_typeof(said -> one) = 'array' THEN
            SELECT max(cfgtrack_wrong_field(rtrim(form, '*'), i.value)) INTO wrong
            FROM jsonb_array_elements(said -> one) AS i;
        ELSIF form LIKE '%.' THEN
            wrong := cfgtrack_wrong_field(rtrim(form, '.'), said -> one);
        ELSIF form IS NULL OR NOT cfgtrack_is_form(said -> one, form) THEN
            RETURN one;
        END IF;
        IF wrong IS NOT NULL THEN
            RETURN rtrim(one || '.' || wrong, '.');
        END IF;
    END LOOP;
    RETURN (SELECT min(f.key) FROM jsonb_each_text(fields) AS f WHERE f.value LIKE '%!' AND NOT said ? f.key);
END $$;

CREATE FUNCTION cfgtrack_expect_item(sort text, id text, body text) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    fields jsonb := cfgtrack_fields(sort);
    said jsonb := body::jsonb;
    wrong text := cfgtrack_wrong_field(sort, said);
BEGIN
    IF fields IS NULL OR NOT sort = ANY (
        '{medium,kind,part,unit,place,setting,person,permission,rules,retired}'::text[]) THEN
        PERFORM cfgtrack_refuse(format('%s: a plant has nothing of that sort', sort));
    END IF;
    IF body IS NULL THEN
        RETURN;
    END IF;
    IF jsonb_typeof(said) <> 'object' OR cfgtrack_canonical(body::json) <> body
        OR coalesce(said ->> 'id', id) <> id THEN
        PERFORM cfgtrack_refuse(format('%s %s: an item is a canonical JSON object (RFC 8785) of its id', sort, id));
    END IF;
    IF wrong IS NOT NULL THEN
        PERFORM cfgtrack_refuse(format('%s %s, %s: there is no such field, or it is missing or of another form', sort, id,
            wrong));
    END IF;
    IF sort = 'person' AND cfgtrack_list(said -> 'roles') - '{look,record,correct,approve,define,administer}'::text[]
        <> '[]' THEN
        PERFORM cfgtrack_refuse(format('%s has a role that there isn''t', id));
    END IF;
    IF sort = 'permission' AND ((said -> 'may') - '{record,correct,approve}'::text[] <> '[]'
        OR coalesce(said -> 'on', '{}') - '{ids,parts,kinds,places,loops,tags}'::text[] <> '{}'
        OR EXISTS (SELECT 1 FROM jsonb_each(coalesce(said -> 'on', '{}')) AS f
            WHERE NOT cfgtrack_is_form(f.value, 'texts'))) THEN
        PERFORM cfgtrack_refuse(format('permission %s permits no such thing, or not so', id));
    END IF;
    IF sort = 'setting' AND NOT (id = 'unsigned-events' AND said ->> 'value' IN ('allowed', 'refused')
        OR id IN ('clock-ahead', 'happened-ahead', 'happened-late')
            AND said ->> 'value' ~ '^[0-9]{1,5}([.][0-9]{1,3})? (d|h|min|s)$') THEN
        PERFORM cfgtrack_refuse(format('setting %s can''t be set so', id));
    END IF;
END $$;

-- A policy sees the rows of before its statement, and a function in a statement may close an event: this sees all.
CREATE FUNCTION cfgtrack_take_item() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = {schema}, pg_temp SET extra_float_digits = 1 AS $$
DECLARE
    this event;
BEGIN
    SELECT * INTO this FROM event e WHERE e.number = NEW.load;
    IF this.number IS NULL OR this.action NOT IN ('define', 'revise', 'retire')
        OR this.login IS DISTINCT FROM session_user
        OR this.number <= coalesce((SELECT max(h.number) FROM tree_head h), 0) THEN
        PERFORM cfgtrack_refuse('an item comes with the event that loads it, and is settled with it');
    END IF;
    IF cfgtrack_has_roles(this.known)
        AND NOT cfgtrack_has(cfgtrack_person(session_user, this.known), cfgtrack_role_for(NEW.sort)) THEN
        PERFORM cfgtrack_refuse(format('the user %s hasn''t the role %s', session_user, cfgtrack_role_for(NEW.sort)));
    END IF;
    PERFORM cfgtrack_expect_item(NEW.sort, NEW.id, NEW.body);
    RETURN NULL;
END $$;

-- What an item names, of which sort.
CREATE FUNCTION cfgtrack_wants(sort text, said jsonb) RETURNS TABLE (of text, named text) LANGUAGE sql IMMUTABLE AS $$
    SELECT w.of, w.named FROM (
        SELECT 'part', said ->> 'part' WHERE sort IN ('unit', 'place')
        UNION ALL SELECT 'place', said ->> 'home' WHERE sort = 'unit'
        UNION ALL SELECT 'place', said ->> field FROM unnest('{parent,operates}'::text[]) AS field WHERE sort = 'place'
        UNION ALL SELECT 'place', said ->> 'place' WHERE sort = 'person'
        UNION ALL SELECT 'person', who FROM jsonb_array_elements_text(cfgtrack_list(said -> 'who')) AS who
        WHERE sort = 'permission' AND who NOT IN ('look', 'record', 'correct', 'approve', 'define', 'administer')
        UNION ALL SELECT 'kind', p.value ->> 'kind' FROM jsonb_array_elements(cfgtrack_list(said -> 'ports')) AS p
        WHERE sort = 'part'
        UNION ALL SELECT 'medium', n.value ->> 'medium' FROM jsonb_array_elements(cfgtrack_list(said -> 'nodes')) AS n
        WHERE sort = 'part'
        UNION ALL SELECT 'medium', c.value ->> 'medium' FROM jsonb_array_elements(cfgtrack_list(said -> 'ports')) AS p,
            jsonb_array_elements(cfgtrack_list(p.value -> 'contacts')) AS c WHERE sort = 'part'
        UNION ALL SELECT 'medium', said ->> 'medium' WHERE sort = 'kind'
    ) AS w(of, named) WHERE coalesce(w.named, '') <> ''
$$;

CREATE FUNCTION cfgtrack_expect_whole(load bigint, instant bigint) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    one record;
    around text;
    steps integer;
BEGIN
    FOR one IN SELECT DISTINCT i.sort, i.id, w.of, w.named
        FROM item i, LATERAL cfgtrack_wants(i.sort, cfgtrack_item(i.sort, i.id, instant, false)) AS w
        WHERE i.load = cfgtrack_expect_whole.load LOOP
        IF cfgtrack_item(one.of, one.named, instant, false) IS NULL THEN
            PERFORM cfgtrack_refuse(format('%s %s names %s %s, which isn''t there', one.sort, one.id, one.of, one.named));
        END IF;
    END LOOP;
    FOR one IN SELECT i.sort, i.id FROM item i WHERE i.load = cfgtrack_expect_whole.load AND i.body IS NULL
        AND i.sort NOT IN ('rules', 'setting', 'permission', 'unit', 'retired') AND EXISTS (
            SELECT 1 FROM unnest('{kind,part,unit,place,person,permission}'::text[]) AS s,
                LATERAL cfgtrack_items(s, instant, false) AS said, LATERAL cfgtrack_wants(s, said) AS w
            WHERE w.of = i.sort AND w.named = i.id) LOOP
        PERFORM cfgtrack_refuse(format('%s %s is named by another item', one.sort, one.id));
    END LOOP;
    FOR one IN SELECT i.id FROM item i WHERE i.load = cfgtrack_expect_whole.load AND i.sort = 'place' LOOP
        around := cfgtrack_item('place', one.id, instant, false) ->> 'parent';
        steps := 0;
        WHILE coalesce(around, '') <> '' LOOP
            steps := steps + 1;
            IF around = one.id OR steps > 1000 THEN
                PERFORM cfgtrack_refuse(format('place %s would be inside itself', one.id));
            END IF;
            around := cfgtrack_item('place', around, instant, false) ->> 'parent';
        END LOOP;
    END LOOP;
    -- What was moved can be moved still.
    FOR one IN SELECT i.id FROM item i WHERE i.load = cfgtrack_expect_whole.load AND i.sort = 'place'
        AND NOT cfgtrack_is_mobile(i.id, instant, false) AND EXISTS (SELECT 1 FROM change c
            WHERE c.subject = i.id AND c.aspect = '@' AND c.until = 9223372036854775807) LOOP
        PERFORM cfgtrack_refuse(format('%s was moved, and would be no place that moves any more', one.id));
    END LOOP;
END $$;

CREATE FUNCTION cfgtrack_expect_people(instant bigint) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    people jsonb[] := ARRAY(SELECT cfgtrack_items('person', instant, false));
    one text;
BEGIN
    IF NOT EXISTS (SELECT 1 FROM unnest(people) AS person WHERE cfgtrack_has(person, 'administer'))
        AND (cfgtrack_has_roles(instant)
             OR EXISTS (SELECT 1 FROM unnest(people) AS person WHERE cfgtrack_has(person, 'look'))) THEN
        PERFORM cfgtrack_refuse('nobody would have the role administer, and could give a role any more');
    END IF;
    FOR one IN SELECT person ->> 'user' FROM unnest(people) AS person
        WHERE coalesce(person ->> 'user', '') <> '' GROUP BY 1 HAVING count(*) > 1 LOOP
        PERFORM cfgtrack_refuse(format('two people would be the user %s', one));
    END LOOP;
END $$;

-- The units and places of which a load may change what a permission covers.
CREATE FUNCTION cfgtrack_redrawn(load bigint, instant bigint) RETURNS SETOF text LANGUAGE sql STABLE AS $$
    WITH RECURSIVE own(sort, id) AS (
        SELECT i.sort, i.id FROM item i WHERE i.load = cfgtrack_redrawn.load
    ), within(id) AS (
        SELECT o.id FROM own o WHERE o.sort = 'place'
        UNION SELECT p.said ->> 'id' FROM within w, (
            SELECT cfgtrack_items('place', instant, true) UNION SELECT cfgtrack_items('place', instant, false)
        ) AS p(said) WHERE p.said ->> 'parent' = w.id
    ), owners(said) AS (
        SELECT cfgtrack_items(sort, instant, settled) FROM unnest('{unit,place}'::text[]) AS sort,
            unnest('{t,f}'::boolean[]) AS settled
    )
    SELECT w.id FROM within w UNION SELECT o.id FROM own o WHERE o.sort IN ('unit', 'retired')
    UNION SELECT s.said ->> 'id' FROM owners s
    WHERE s.said ->> 'home' IN (SELECT w.id FROM within w)
        OR s.said ->> 'part' IN (SELECT o.id FROM own o WHERE o.sort = 'part')
$$;

-- Who defines doesn't say by that where somebody may do what: that takes who administers.
CREATE FUNCTION cfgtrack_expect_areas(load bigint, instant bigint) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    areas jsonb[] := ARRAY(SELECT one -> 'on' FROM cfgtrack_items('permission', instant, true) AS one
        WHERE coalesce(one -> 'on', '{}') - 'ids' <> '{}');
    one text;
BEGIN
    IF cardinality(areas) = 0 THEN
        RETURN;
    END IF;
    FOR one IN
        SELECT address FROM cfgtrack_redrawn(load, instant) AS owner, LATERAL (
            SELECT owner UNION SELECT owner || ':' || (inner_thing ->> 'name')
            FROM unnest('{t,f}'::boolean[]) AS settled, unnest('{ports,nodes}'::text[]) AS field,
                jsonb_array_elements(cfgtrack_list(cfgtrack_item('part', coalesce(
                    cfgtrack_item('unit', owner, instant, settled), cfgtrack_item('place', owner, instant, settled)
                ) ->> 'part', instant, settled) -> field)) AS inner_thing
        ) AS addresses(address), unnest(areas) AS area
        -- What never was there before nobody was kept from.
        WHERE EXISTS (SELECT 1 FROM item i WHERE i.id = owner AND i.sort IN ('unit', 'place')
                AND i.load <= (SELECT max(h.number) FROM tree_head h))
            AND cfgtrack_covers(area, address, instant, true)
                IS DISTINCT FROM cfgtrack_covers(area, address, instant, false)
            AND cfgtrack_is_there(owner, instant)
        LIMIT 1
    LOOP
        PERFORM cfgtrack_refuse(format('it changes where permissions let people do something, at %s: that takes the'
            ' role administer', one));
    END LOOP;
END $$;

CREATE FUNCTION cfgtrack_expect_definition(this event) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    person jsonb := cfgtrack_person(session_user, this.known);
    sorts text[] := ARRAY(SELECT DISTINCT i.sort FROM item i WHERE i.load IN (this.number, this.corrects));
    instant bigint;
BEGIN
    FOR instant IN SELECT -9223372036854775807 UNION SELECT e.happened FROM event e
        WHERE e.action IN ('revise', 'retire') UNION SELECT this.known LOOP
        PERFORM cfgtrack_expect_whole(one, instant)
            FROM unnest(ARRAY[this.number, this.corrects]) AS one WHERE one IS NOT NULL;
        IF 'person' = ANY (sorts) THEN
            PERFORM cfgtrack_expect_people(instant);
        END IF;
        IF cfgtrack_has_roles(this.known) AND NOT cfgtrack_has(person, 'administer')
            AND sorts && '{unit,place,part,retired}' THEN
            PERFORM cfgtrack_expect_areas(one, instant)
                FROM unnest(ARRAY[this.number, this.corrects]) AS one WHERE one IS NOT NULL;
        END IF;
    END LOOP;
END $$;

CREATE FUNCTION cfgtrack_items_text(load bigint) RETURNS text LANGUAGE sql STABLE AS $$
    SELECT '{' || coalesce(
        string_agg(to_json(sort)::text || ':{' || items || '}', ',' ORDER BY sort COLLATE "C"), '') || '}'
    FROM (SELECT i.sort, string_agg(to_json(i.id)::text || ':' || coalesce(i.body, 'null'), ','
            ORDER BY i.id COLLATE "C") AS items
        FROM item i WHERE i.load = cfgtrack_items_text.load GROUP BY i.sort) AS sorts
$$;

CREATE FUNCTION cfgtrack_close() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = {schema}, pg_temp AS $$
DECLARE
    head tree_head;
    one event;
    size bigint := 0;
    full_trees bigint;
    peaks bytea[] := '{}';
    leaf bytea;
    root bytea;
    kind text;
BEGIN
    SELECT * INTO head FROM tree_head ORDER BY number DESC LIMIT 1;
    IF head.number >= NEW.number THEN
        RETURN NULL;
    END IF;
    IF head.number IS NOT NULL THEN
        size := head.number;
        FOR i IN 0 .. (length(head.frontier) - 8) / 32 - 1 LOOP
            peaks := peaks || substr(head.frontier, 9 + 32 * i, 32);
        END LOOP;
    END IF;
    FOR one IN SELECT * FROM event e WHERE e.number > size ORDER BY e.number LOOP
        IF one.action IN ('define', 'revise', 'retire') THEN
            IF encode(sha256(convert_to(cfgtrack_items_text(one.number), 'UTF8')), 'hex')
                IS DISTINCT FROM one.body::jsonb #>> '{body,items}' THEN
                PERFORM cfgtrack_refuse('what a load brings is what it commits to');
            END IF;
            IF cfgtrack_has_roles(one.known) THEN
                FOREACH kind IN ARRAY cfgtrack_kinds_of_load(one.number) LOOP
                    IF NOT cfgtrack_has(cfgtrack_person(session_user, one.known), kind) THEN
                        PERFORM cfgtrack_refuse(format('the user %s hasn''t the role %s', session_user, kind));
                    END IF;
                END LOOP;
            END IF;
        ELSIF EXISTS (SELECT 1 FROM item i WHERE i.load = one.number) THEN
            PERFORM cfgtrack_refuse('what defines nothing brings nothing');
        END IF;
        IF EXISTS (SELECT 1 FROM item i WHERE i.load IN (one.number, one.corrects)) THEN
            PERFORM cfgtrack_expect_definition(one);
        END IF;
        leaf := one.leaf;
        full_trees := size;
        WHILE full_trees & 1 = 1 LOOP
            leaf := sha256('\x01'::bytea || peaks[cardinality(peaks)] || leaf);
            peaks := trim_array(peaks, 1);
            full_trees := full_trees >> 1;
        END LOOP;
        peaks := peaks || leaf;
        size := size + 1;
    END LOOP;
    root := peaks[cardinality(peaks)];
    FOR i IN REVERSE cardinality(peaks) - 1 .. 1 LOOP
        root := sha256('\x01'::bytea || peaks[i] || root);
    END LOOP;
    INSERT INTO tree_head (number, known, root, frontier)
    VALUES (one.number, one.known, root, int8send(size) || (
        SELECT string_agg(peak, '' ORDER BY place) FROM unnest(peaks) WITH ORDINALITY AS p(peak, place)));
    RETURN NULL;
END $$;

CREATE FUNCTION cfgtrack_end() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = {schema}, pg_temp AS $$
BEGIN
    IF NOT EXISTS (SELECT 1 FROM event e
        WHERE e.corrects = NEW.number AND e.known = NEW.until AND e.login = session_user) THEN
        PERFORM cfgtrack_refuse('what was changed counts until the event that corrects it');
    END IF;
    RETURN NULL;
END $$;

CREATE TRIGGER event_taken_in AFTER INSERT ON event FOR EACH ROW
WHEN (row_security_active('event'::regclass)) EXECUTE FUNCTION cfgtrack_take_in();
CREATE TRIGGER item_taken_in AFTER INSERT ON item FOR EACH ROW
WHEN (row_security_active('item'::regclass)) EXECUTE FUNCTION cfgtrack_take_item();
CREATE CONSTRAINT TRIGGER event_closed AFTER INSERT ON event DEFERRABLE INITIALLY DEFERRED FOR EACH ROW
WHEN (row_security_active('event'::regclass)) EXECUTE FUNCTION cfgtrack_close();
CREATE CONSTRAINT TRIGGER change_ended AFTER UPDATE ON change DEFERRABLE INITIALLY DEFERRED FOR EACH ROW
WHEN (row_security_active('change'::regclass)) EXECUTE FUNCTION cfgtrack_end();

-- --- who sees and writes what ----------------------------------------------------------------------------------------

ALTER TABLE event ENABLE ROW LEVEL SECURITY;
ALTER TABLE item ENABLE ROW LEVEL SECURITY;
ALTER TABLE tree_head ENABLE ROW LEVEL SECURITY;
ALTER TABLE touch ENABLE ROW LEVEL SECURITY;
ALTER TABLE change ENABLE ROW LEVEL SECURITY;
ALTER TABLE checkpoint ENABLE ROW LEVEL SECURITY;
ALTER TABLE settled ENABLE ROW LEVEL SECURITY;
CREATE POLICY event_looked_at ON event FOR SELECT USING ((SELECT cfgtrack_may_look()));
CREATE POLICY item_looked_at ON item FOR SELECT USING ((SELECT cfgtrack_may_look()));
CREATE POLICY tree_head_looked_at ON tree_head FOR SELECT USING ((SELECT cfgtrack_may_look()));
CREATE POLICY touch_looked_at ON touch FOR SELECT USING ((SELECT cfgtrack_may_look()));
CREATE POLICY change_looked_at ON change FOR SELECT USING ((SELECT cfgtrack_may_look()));
CREATE POLICY checkpoint_looked_at ON checkpoint FOR SELECT USING ((SELECT cfgtrack_may_look()));
CREATE POLICY settled_looked_at ON settled FOR SELECT USING ((SELECT cfgtrack_may_look()));
CREATE POLICY event_recorded ON event FOR INSERT WITH CHECK (login = session_user);
CREATE POLICY item_defined ON item FOR INSERT WITH CHECK (true);
CREATE POLICY change_ended ON change FOR UPDATE USING (until = 9223372036854775807) WITH CHECK (true);

-- --- who may call what -----------------------------------------------------------------------------------------------

-- Nobody calls one of these but the triggers and the policies, by the rights of the owner: save what the policies ask.
DO $$
DECLARE
    one regprocedure;
BEGIN
    FOR one IN SELECT p.oid FROM pg_proc p WHERE p.pronamespace = current_schema()::regnamespace
        AND p.proname LIKE 'cfgtrack\_%' AND p.proname <> 'cfgtrack_may_look' LOOP
        EXECUTE format('REVOKE EXECUTE ON FUNCTION %s FROM PUBLIC', one);
    END LOOP;
END $$;
