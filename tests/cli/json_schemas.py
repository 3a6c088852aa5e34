#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Every command's --json document against docs/json/*.schema.json, judged by python3-jsonschema.

usage: json_schemas.py PIN16 SOURCE. Runs the commands over the simulated bench and over captures, validates what
comes, and proves of each document that the schema notices: one member more in any object, or one less, is refused.
Then compares the members of the schemas with those that docs/json.md and docs/readiness.md name.
"""
import copy
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor

try:
    from jsonschema import Draft202012Validator
except ImportError:
    print("FELL BACK json schemas: python3-jsonschema is not installed, no document was validated")
    sys.exit(0)

PIN16, SOURCE = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
SCENARIOS = SOURCE + "/captures/scenarios/"
SCHEMAS = SOURCE + "/docs/json/"
SOUND = "bench:" + SCENARIOS + "own-battery-sound"
faults = []
validators = {}
validated = {}  # schema name -> number of documents


def fault(text):
    print("FAULT", text)
    faults.append(text)


def load_schemas():
    for name in sorted(os.listdir(SCHEMAS)):
        with open(SCHEMAS + name) as f:
            schema = json.load(f)
        Draft202012Validator.check_schema(schema)
        validators[schema["properties"]["schema"]["const"]] = Draft202012Validator(schema)
        strict(name, schema)


def strict(name, node, place=""):
    """Objects refuse what they do not know and require what they name."""
    if isinstance(node, dict):
        if "properties" in node and isinstance(node["properties"], dict):
            if node.get("additionalProperties") is not False:
                fault(f"{name}{place}: additionalProperties is not false")
            if sorted(node.get("required", [])) != sorted(node["properties"]):
                fault(f"{name}{place}: not every member is required")
        for key, value in node.items():
            strict(name, value, place + "/" + key)
    elif isinstance(node, list):
        for i, value in enumerate(node):
            strict(name, value, f"{place}/{i}")


def objects(node, path=()):
    """Paths of all objects; of a list at most its first two rows."""
    if isinstance(node, dict):
        yield path
        for key, value in node.items():
            yield from objects(value, path + (key,))
    elif isinstance(node, list):
        for i, value in enumerate(node[:2]):
            yield from objects(value, path + (i,))


def shorten(validator, document, node):
    """Leaves two rows of each list where the schema lets it: what is not looked at need not be validated each time."""
    if isinstance(node, list) and len(node) > 2:
        rest = node[2:]
        del node[2:]
        if not validator.is_valid(document):
            node.extend(rest)
    for value in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        shorten(validator, document, value)


def at(node, path):
    for key in path:
        node = node[key]
    return node


def can_fail(what, validator, whole):
    document = copy.deepcopy(whole)
    shorten(validator, document, document)
    for path in list(objects(document)):
        place = at(document, path)
        place["no_such_member"] = 1
        if validator.is_valid(document):
            fault(f"{what}: an unknown member in {path} is not noticed")
        del place["no_such_member"]
        for key in list(place):
            kept = place.pop(key)
            if validator.is_valid(document):
                fault(f"{what}: nobody misses {path + (key,)}")
            place[key] = kept


def judge(what, text, schema):
    try:
        document = json.loads(text)
    except ValueError as e:
        return fault(f"{what}: no JSON ({e}): {text[:300]!r}")
    if list(document)[:2] != ["schema", "version"]:
        fault(f"{what}: starts with {list(document)[:2]}")
    if document.get("schema") != schema:
        return fault(f"{what}: schema {document.get('schema')}, expected {schema}")
    validator = validators[schema]
    errors = sorted(validator.iter_errors(document), key=lambda e: list(map(str, e.path)))
    for e in errors[:5]:
        fault(f"{what}: {'/'.join(map(str, e.path))}: {e.message[:300]}")
    if not errors:
        can_fail(what, validator, document)
    validated[schema] = validated.get(schema, 0) + 1
    return document


# The commands mostly wait: several at once.
pool = ThreadPoolExecutor(4)


def call(arguments, runtime):
    return subprocess.run([PIN16] + arguments + ["--json"], capture_output=True, text=True, timeout=120,
                          env=dict(os.environ, XDG_RUNTIME_DIR=runtime))


def begin(arguments):
    """Beside the others, none of whose attempts it shall heed: each has a runtime folder of its own."""
    def alone():
        with tempfile.TemporaryDirectory(prefix="pin16-run-") as runtime:
            return call(arguments, runtime)
    return arguments, pool.submit(alone)


def told(arguments, done, schema, code):
    what = "pin16 " + " ".join(arguments)
    if code is not None and done.returncode != code:
        fault(f"{what}: exit {done.returncode}, expected {code}: {done.stderr}")
    return judge(what, done.stdout, schema)


def ended(begun, schema, code=None):
    arguments, result = begun
    return told(arguments, result.result(), schema, code)


def run(arguments, schema, code=None):
    return told(arguments, call(arguments, os.getcwd()), schema, code)


def begin_checks():
    begun = []
    for name in ("own-battery-sound", "late-answers", "pin16-dead-fed-in-place", "removed-sound"):
        with open(SCENARIOS + name + "/job.toml") as job, open(name + ".toml", "w") as here:
            here.write(job.read())
        begun.append(begin(["check", "--job", name + ".toml", "bench:" + SCENARIOS + name, "--ask", "-o", name + ".pcapng"]))
    with open("sealed.toml", "w") as f:
        f.write('[job]\nname = "sealed"\narrangement = "removed"\nsealed = true\n'
                "[module]\nrequest_id = 0x7A1\nanswer_id = 0x7A9\n")
    begun.append(begin(["check", "--job", "sealed.toml", "--reading", "V(src+,src-)=12.6V power=source u=0.02", "--for", "0.2"]))
    begun.append(begin(["check", "--job", "sealed.toml", SOUND, "--ask", "-o", "refused.pcapng"]))
    with open("dead.toml", "w") as f:
        f.write('[job]\nname = "dead connector"\narrangement = "own-battery"\n')
    begun.append(begin(["check", "--job", "dead.toml", "--reading", "V(src+,src-)=12.6V power=source", "--reading",
                        "V(pin16,pin4)=0V power=source", "--reading", "lamp=dark", "-o", "dead.pcapng"]))
    return begun


def check_documents(begun):
    *sound, undecided, refused, dead = begun
    for one in sound:
        ended(one, "pin16-check")
    undecided = ended(undecided, "pin16-check", 1)
    if not undecided or not undecided["deciding_reading"]:
        fault("check: no deciding reading in any document")
    ended(refused, "pin16-check", 4)
    dead = ended(dead, "pin16-check", 1)
    if not dead or not dead["reasons"] or not dead["reasons"]["causes"][0]["for"]:
        fault("check: no reasons in any document")


def begin_queries():
    return (begin(["query", SOUND, "09 02", "01 00", "01 0C", "@7A1 22 F190", "@7A1 19 02 FF", "@7A5 22 F190", "-o", "query.pcapng"]),
            begin(["rollcall", SOUND, "--sweep", "7A0-7A3", "-o", "rollcall.pcapng"]))


def query_documents(begun):
    asked = ended(begun[0], "pin16-query", 1)
    states = {x["ended"] for x in asked["exchanges"]} if asked else set()
    if not {"answered", "negative", "silent"} <= states:
        fault(f"query: only {states}")
    found = ended(begun[1], "pin16-rollcall", 0)
    if not found or not found["modules"]:
        fault("rollcall: no module in any document")


def begin_recordings():
    return (begin(["listen", SOUND, "--for", "1.2", "-o", "listen.pcapng"]),
            begin(["listen", "replay:" + SOURCE + "/captures/dumpcap-obd-uds.pcapng?pace=fast", "--attempt", "--changed", "cable",
                   "-o", "attempt.pcapng"]))


def review_documents(begun):
    for one in begun:
        ended(one, "pin16-review", 0)
    whole = open("listen.pcapng", "rb").read()
    with open("cut.pcapng", "wb") as f:
        f.write(whole[:-10])
    seen = {}
    captures = ["listen.pcapng", "query.pcapng", "rollcall.pcapng", "refused.pcapng", "late-answers.pcapng", "cut.pcapng",
                "attempt.pcapng", SOURCE + "/captures/dumpcap-obd-uds.pcapng"]
    for capture, review in [(c, begin(["review", c])) for c in captures]:
        document = ended(review, "pin16-review", 1 if capture == "cut.pcapng" else 0)
        for key, value in (document or {}).items():
            seen[key] = seen.get(key) or bool(value)
    for key in ("links", "identifiers", "messages", "exchanges", "sent", "refused", "damage"):
        if not seen.get(key):
            fault(f"review: {key} is empty in every document")
    obd = SOURCE + "/captures/dumpcap-obd-uds.pcapng"
    found = run(["review", obd, "--find", "id 7E8 kind exchange kind frame"], "pin16-find", 0)
    if not found or found["found"] < 2 or found["found"] != len(found["rows"]):
        fault("review --find: what it found is not what it counts")
    run(["review", obd, "--find", "id 001"], "pin16-find", 1)
    run(["verify", "listen.pcapng"], "pin16-verify", 0)
    with open("listen.pcapng", "wb") as f:
        f.write(whole[:300] + b"?" + whole[301:])
    changed = run(["verify", "listen.pcapng"], "pin16-verify", 1)
    if not changed or changed["first_difference"] is None:
        fault("verify: no difference in any document")


def links_documents():
    run(["links"], "pin16-links", 0)
    run(["links", "--check", SOUND], "pin16-links-check", 0)


    run(["links", "--rate-search", "socketcan:can0"], "pin16-links-rate-search", 0)


def plugins_documents():
    os.environ["XDG_DATA_HOME"] = os.getcwd()  # none of the user's
    run(["plugins"], "pin16-plugins", 0)


def scene_documents():
    with open("seen.jpg", "w") as f:
        f.write("a picture")
    run(["scene", "--job", "own-battery-sound.toml", "--photo", "seen.jpg", "--person", "A, here", "--by", "A"],
        "pin16-scene", 0)


def plan_documents():
    bare = run(["plan", "--job", "own-battery-sound.toml"], "pin16-plan", 0)
    if not bare or bare["start"] is not None or bare["hook_up"][-1]["code"] != "power":
        fault(f"plan: {bare}")
    with open("fed.toml", "w") as f:
        f.write('[job]\narrangement = "removed"\npower_up_budget = 2\n[feed]\nemf_V = 13.0\nlimit_A = 0.05\n')
    with open("fed.toml.ledger", "w") as f:
        f.write("2026-11-25T17:39:43Z\tdeclared\t\n")
    fed = run(["plan", "--job", "fed.toml"], "pin16-plan", 0)
    if not fed or fed["start"]["starts"] == 1 or not fed["start"]["limit_least_A"] or fed["power_ups"]["past"] != 1:
        fault(f"plan: {fed}")


def why_documents():
    found = run(["why", "--job", "pin16-dead-fed-in-place.toml", "--reading", "V(src+,src-)=12.5V;power=source",
                 "--reading", "signs=none", "--reading", "I(feed)=3.9A power=on"], "pin16-why", 1)
    if not found or not found["next"] or not found["groups"] or not any(c["against"] for c in found["causes"]):
        fault(f"why: {found}")
    contradicted = run(["why", "--job", "own-battery-sound.toml", "--reading", "R(connfuse)=OL", "--reading", "lamp=lit",
                        "--reading", "V(connfuse supply,chassis)=12.5V", "--reading", "V(pin16,pin4)=0V"], "pin16-why")
    if not contradicted or not contradicted["misfits"]:
        fault("why: no contradiction in any document")


def note_documents():
    listening = subprocess.Popen([PIN16, "listen", SOUND, "-o", "noted.pcapng"], stdout=subprocess.DEVNULL,
                                 stderr=subprocess.PIPE, text=True, env=dict(os.environ, XDG_RUNTIME_DIR=os.getcwd()))
    try:
        listening.stderr.readline()  # "recording to ..."
        run(["note", "door opened", "--by", "A"], "pin16-note", 0)
        run(["note", "cable", "--attempt", "begin"], "pin16-note", 0)
        run(["note", "communication error", "--attempt", "end"], "pin16-note", 0)
        run(["note", "--end"], "pin16-note", 0)
        listening.wait(timeout=30)
    finally:
        listening.poll() is None and listening.send_signal(signal.SIGKILL)


def bench_documents():
    command = [PIN16, "bench", "own-battery-sound", "--serve", "slcan,scpi", "--at", os.getcwd(), "--for", "20"]
    serving = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        for _ in range(2):
            judge("pin16 bench --serve", serving.stdout.readline(), "pin16-bench-device")
        found = run(["links", "--rate-search", "slcan:" + os.getcwd() + "/slcan"], "pin16-links-rate-search", 0)
        if not found or found["found"] != 500000 or not found["tried"]:
            fault(f"links --rate-search: {found}")
        serving.terminate()
        judge("pin16 bench --serve, end", serving.stdout.read(), "pin16-bench-end")
        serving.wait(timeout=30)
    finally:
        serving.poll() is None and serving.kill()


def members(node, found):
    if isinstance(node, dict):
        if isinstance(node.get("properties"), dict):
            found.update(node["properties"])
        for value in node.values():
            members(value, found)
    elif isinstance(node, list):
        for value in node:
            members(value, found)


def compare_with_text():
    """Each member of a schema is named in the text; each member of a list in the text is in some schema."""
    text = open(SOURCE + "/docs/json.md").read() + open(SOURCE + "/docs/readiness.md").read().split("## Codes")[0]
    named = set(re.findall(r"`([a-z][a-z_0-9]*[VA]?)`", text))
    known = set()
    for schema, validator in validators.items():
        own = set()
        members(validator.schema, own)
        known |= own
        if schema not in text:
            fault(f"docs/json.md does not name {schema}")
        for member in sorted(own - named):
            fault(f"docs/json.md does not name `{member}` of {schema}")
    for row in re.findall(r"\{((?:`[a-z_0-9]+[VA]?`,?)+)\}", text.replace("\n", " ").replace(", `", ",`")):
        for member in re.findall(r"`([a-z_0-9]+[VA]?)`", row):
            if member not in known:
                fault(f"docs/json.md names `{member}`, no schema knows it")


def main():
    load_schemas()
    compare_with_text()
    with tempfile.TemporaryDirectory(prefix="pin16-json-") as folder:
        os.chdir(folder)
        checks, queries, recordings = begin_checks(), begin_queries(), begin_recordings()
        note_documents()
        bench_documents()
        query_documents(queries)
        check_documents(checks)
        review_documents(recordings)
        links_documents()
        plugins_documents()
        scene_documents()
        plan_documents()
        why_documents()
        os.chdir("/")
    for schema in validators:
        if schema not in validated:
            fault(f"no document of {schema} was validated")
    print(f"{sum(validated.values())} documents of {len(validated)} schemas, {len(faults)} faults")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
