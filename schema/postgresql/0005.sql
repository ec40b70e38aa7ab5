-- Defects and plans: that something can't be done to a thing, and that it can again, is written as a lock is; what
-- adopts a plan, gives one up or skips a step of one is done to the record, and an event may say which step of which plan
-- it is of. These functions replace those of 0004.sql, of which nothing else is changed.

CREATE FUNCTION cfgtrack_defect(action text, happened bigint, said jsonb) RETURNS jsonb LANGUAGE plpgsql STABLE AS $$
DECLARE
    subjects text[] := ARRAY(SELECT cfgtrack_texts(said, 'subjects'));
    told text := '';
BEGIN
    IF coalesce(said ->> 'status', '') = '' OR cardinality(subjects) NOT IN (1, 2)
        OR said ->> 'bars' = '' OR position(' ' IN coalesce(said ->> 'bars', '')) > 0 THEN
        RAISE EXCEPTION 'cfgtrack: % says not what can''t be done, or why', said ->> 'id' USING ERRCODE = '42501';
    END IF;
    IF action = 'defect' THEN
        told := happened::text || E'\t' || coalesce((
            SELECT string_agg(q.key || ' ' || cfgtrack_reading(q.value ->> 'value') || ' ' || (q.value ->> 'unit'), ';'
                ORDER BY q.key COLLATE "C")
            FROM jsonb_each(coalesce(said -> 'values', '{}')) AS q), '') || E'\t' || coalesce(said ->> 'by', '');
    END IF;
    RETURN (SELECT jsonb_agg(jsonb_build_array(s.thing,
            '!defect ' || coalesce(said ->> 'bars', '*') || ' ' || coalesce(subjects[3 - s.place], '-') || ' '
                || (said ->> 'status'), told, said ->> 'id', 0) ORDER BY s.place)
        FROM unnest(subjects) WITH ORDINALITY AS s(thing, place));
END $$;

CREATE OR REPLACE FUNCTION cfgtrack_effects(action text, happened bigint, said jsonb) RETURNS jsonb LANGUAGE plpgsql STABLE AS $$
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
    IF action IN ('lock', 'unlock', 'transfer', 'cut', 'tag', 'untag', 'defect', 'rectify') THEN
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
        'acknowledge', 'revise', 'retire', 'adopt', 'abandon', 'skip', 'keep-check') THEN
        NULL;
    ELSIF action IN ('lock', 'unlock', 'transfer', 'cut', 'tag', 'untag')
        AND NOT EXISTS (SELECT 1 FROM jsonb_array_elements(first_kind -> 'moves') AS m
            WHERE m.value ->> 'action' = cfgtrack_effects.action) THEN
        effects := effects || cfgtrack_device(action, happened, said);
    ELSIF action IN ('defect', 'rectify')
        AND NOT EXISTS (SELECT 1 FROM jsonb_array_elements(first_kind -> 'moves') AS m
            WHERE m.value ->> 'action' = cfgtrack_effects.action) THEN
        effects := effects || cfgtrack_defect(action, happened, said);
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

CREATE OR REPLACE FUNCTION cfgtrack_owners(action text, happened bigint, said jsonb) RETURNS SETOF text LANGUAGE sql STABLE AS $$
    SELECT DISTINCT split_part(thing, ':', 1)
    FROM (SELECT cfgtrack_written(said) UNION SELECT said ->> 'peer' UNION SELECT said ->> 'place') AS one(thing)
    WHERE thing IS NOT NULL
    UNION SELECT said ->> 'by' WHERE said ? 'by' AND NOT said ? 'supersedes' AND NOT said ? 'initial'
        AND action NOT IN ('remark', 'begin', 'end', 'withdraw', 'explain', 'define', 'approve', 'acknowledge',
            'revise', 'retire', 'adopt', 'abandon', 'skip', 'keep-check')
        AND (action <> 'defect' OR EXISTS (SELECT 1
            FROM jsonb_array_elements(cfgtrack_kind_of(said -> 'subjects' ->> 0, happened) -> 'moves') AS m
            WHERE m.value ->> 'action' = 'defect'))
        AND cfgtrack_is_mobile(said ->> 'by', happened, false)
        AND EXISTS (SELECT 1 FROM cfgtrack_items('place', happened, false) AS place WHERE (place -> 'site')::boolean)
$$;

CREATE OR REPLACE FUNCTION cfgtrack_expect_bounds(said jsonb) RETURNS void LANGUAGE plpgsql AS $$
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
    IF said ? 'body' AND action NOT IN ('define', 'revise', 'retire', 'approve', 'adopt', 'keep-check')
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
    IF action = 'adopt' AND (coalesce(said -> 'body', '{}') - '{name,text,sha256}'::text[] <> '{}'
        OR coalesce(said #>> '{body,name}', '') = '' OR coalesce(said #>> '{body,text}', '') = ''
        OR jsonb_typeof(said #> '{body,name}') <> 'string' OR jsonb_typeof(said #> '{body,text}') <> 'string'
        OR length(said #>> '{body,name}') > 200 OR length(said #>> '{body,text}') > 2000000
        OR coalesce(said #>> '{body,sha256}', '') <> encode(sha256(convert_to(said #>> '{body,text}', 'UTF8')), 'hex')) THEN
        PERFORM cfgtrack_refuse('a plan is kept with its name, its text and the sha256 of that');
    END IF;
    IF action = 'keep-check' AND (coalesce(said -> 'body', '{}')
            - '{approvals,at,findings,head,known,name,rules,said_for,sha256,text,tool,until,verdict}'::text[] <> '{}'
        OR coalesce(said #>> '{body,name}', '') = '' OR coalesce(said #>> '{body,text}', '') = ''
        OR jsonb_typeof(said #> '{body,name}') <> 'string' OR jsonb_typeof(said #> '{body,text}') <> 'string'
        OR length(said #>> '{body,name}') > 200 OR length(said #>> '{body,text}') > 2000000
        OR coalesce(said #>> '{body,verdict}', '') NOT IN ('clear', 'not clear', 'undecided')
        OR coalesce(said #>> '{body,sha256}', '') <> encode(sha256(convert_to(said #>> '{body,text}', 'UTF8')), 'hex')) THEN
        PERFORM cfgtrack_refuse('a check is kept with the text of what was checked, the sha256 of that, and its verdict');
    END IF;
    IF (action IN ('abandon', 'skip') AND coalesce(said ->> 'reason', '') = '')
        OR (action = 'skip' AND coalesce(said ->> 'step', '') = '')
        OR (said ? 'step' AND action <> 'skip' AND action IN ('define', 'revise', 'retire', 'approve', 'acknowledge',
            'withdraw', 'explain', 'adopt', 'abandon', 'keep-check', 'begin', 'end'))
        OR (said ? 'plan' AND action IN ('define', 'revise', 'retire', 'approve', 'acknowledge', 'withdraw', 'explain',
            'adopt', 'keep-check', 'begin', 'end')) THEN
        PERFORM cfgtrack_refuse(format('%s says of a plan what it doesn''t take, or not why', action));
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
            AND f.key IN ('id', 'action', 'outing', 'by', 'recorder', 'facing', 'status', 'bars', 'step',
                'plan') LOOP
        IF length(one) > 602 THEN
            PERFORM cfgtrack_refuse('a name is not as long as that');
        END IF;
    END LOOP;
    IF coalesce(said ->> 'id', '') = '' THEN
        PERFORM cfgtrack_refuse('an event has an id');
    END IF;
END $$;

CREATE OR REPLACE FUNCTION cfgtrack_expect_form(this event, said jsonb, target event) RETURNS void LANGUAGE plpgsql AS $$
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
            WHEN one IN ('id', 'action', 'place', 'facing', 'status', 'bars', 'by', 'recorder', 'basis', 'outing',
                'remark', 'step', 'plan', 'supersedes', 'withdraws', 'explains', 'acknowledges', 'reason', 'peer', 'expected')
                THEN 'string' END)
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
    IF this.action NOT IN ('define', 'revise', 'retire', 'approve', 'acknowledge', 'withdraw', 'explain',
        'adopt', 'abandon', 'skip', 'keep-check') THEN
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

CREATE OR REPLACE FUNCTION cfgtrack_kind(action text, said jsonb) RETURNS text LANGUAGE sql IMMUTABLE AS $$
    SELECT CASE WHEN action IN ('define', 'revise', 'retire', 'adopt', 'abandon') OR said ? 'initial' OR said ->> 'id' LIKE 'initial:%'
        THEN 'define' WHEN action IN ('approve', 'acknowledge') THEN 'approve' ELSE 'record' END
$$;

-- Nobody calls it but the triggers, as those above.
REVOKE EXECUTE ON FUNCTION cfgtrack_defect(text, bigint, jsonb) FROM PUBLIC;
