-- What an item may have besides: the words that a kind has for a status. Replaces the function of the same name in 0004.

-- The fields of each sort of item, and the form of each; with ! those that it must have.
CREATE OR REPLACE FUNCTION cfgtrack_fields(sort text) RETURNS jsonb LANGUAGE sql IMMUTABLE AS $$
    SELECT '{
"medium": {"id": "string!", "title": "string", "upstream": "boolean", "volumes_need": "string"},
"kind": {"id": "string!", "medium": "any!", "statuses": "texts!", "moves": "move*!", "title": "string",
    "initial": "string", "joined": "any", "carries": "any", "flexible": "boolean", "fits": "texts", "grip": "boolean",
    "tether": "boolean", "words": "object"},
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
