import sys, tempfile, time, json, tomllib
from pathlib import Path
from datetime import datetime, timedelta, UTC
from cfgtrack.answers.asking import Asking
from cfgtrack.answers import hardware, rules, transfer, review, check
from cfgtrack.answers.encode import json_of
START = datetime(2031,5,1,tzinfo=UTC)
def iso(us): return (START+timedelta(microseconds=us)).isoformat().replace("+00:00","Z")
def run(hw, rl, events, until):
    with tempfile.TemporaryDirectory() as f:
        db=f+"/x.db"; Path(f+"/h.toml").write_text(hw); Path(f+"/r.toml").write_text(rl)
        far=int((START+timedelta(days=3000)).timestamp()*1e6)
        A=lambda **k: Asking(db, clock=lambda: far, by="x", **k)
        hardware.load(A(), [Path(f+"/h.toml")]); rules.load(A(), [Path(f+"/r.toml")])
        Path(f+"/e.jsonl").write_text("")
        for i,(t,ph) in enumerate(events):
            from cfgtrack.answers import record
            import shlex
            record.record(A(at=iso(t)), shlex.split(ph))
        return json_of(review.review(A(at=iso(until)))), json_of(review.findings(A(at=iso(until))))
