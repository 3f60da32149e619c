#!/usr/bin/env python3
"""Checks a bundle of Brakewright (brakewright-bundle/1) without any part of Brakewright.

    check.py BUNDLE [HEAD-KEY]

Needs Python 3.9 and the package cryptography. HEAD-KEY is the ledger's public key as it was published elsewhere; without
it the one in the bundle is taken at its word. Exit status 0: everything that the bundle can prove holds: every entry is under
the head, every signature fits, and whoever had to sign had the role or appointment for it. It cannot prove that no entry was
left out.
"""
import base64
import datetime
import hashlib
import json
import sys
import zoneinfo

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey


class Wrong(Exception):
    pass


def need(condition, what):
    if not condition:
        raise Wrong(what)


def b64(text):
    raw = base64.b64decode(text, validate=True)
    need(base64.b64encode(raw).decode() == text, "base64 that is not the canonical one")
    return raw


def canonical(value):
    """RFC 8785 of strings, booleans, integers, lists and objects: keys are ordered by UTF-16 code units."""
    def ordered(v):
        if isinstance(v, dict):
            return {k: ordered(v[k]) for k in sorted(v, key=lambda k: k.encode("utf-16-be"))}
        return [ordered(x) for x in v] if isinstance(v, list) else v
    return json.dumps(ordered(value), ensure_ascii=False, separators=(",", ":")).encode()


def strict(text):
    """JSON in exactly its canonical form, without fractions."""
    def no(number):
        raise Wrong("the number %s is no integer" % number)
    value = json.loads(text, parse_float=no, parse_constant=no)
    need(canonical(value) == text, "the JSON is not in its canonical form")
    return value


def verify(public, message, signature):
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, message)
        return True
    except (InvalidSignature, ValueError):
        return False


def assertion(key, message, s):
    """A passkey's signature: a WebAuthn assertion (W3C Web Authentication, Level 2) whose challenge is the SHA-256 of the
    message, or of the list of the SHA-256 of all messages signed with one touch. The client data are compared as the
    standard writes them (5.8.1.2); the person must have been present and verified."""
    challenge = hashlib.sha256(message).digest()
    among = s.get("among", [])
    if among:
        if challenge.hex() not in among or among != sorted(set(among)):
            return False
        challenge = hashlib.sha256(("brakewright-entries-v1\n" + "\n".join(among) + "\n").encode()).digest()
    client, data = b64(s["client"]), b64(s["authenticator"])
    begins = '{"type":"webauthn.get","challenge":"%s","origin":"%s","crossOrigin":false' % (
        base64.urlsafe_b64encode(challenge).decode().rstrip("="), key["origin"])
    if not client.startswith(begins.encode()) or client[len(begins):][:1] not in (b"}", b","):
        return False
    if len(data) < 37 or data[:32] != hashlib.sha256(key["rp_id"].encode()).digest() or data[32] & 5 != 5:
        return False
    signed = data + hashlib.sha256(client).digest()
    if key["alg"] == "webauthn-ed25519":
        return verify(key["public"], signed, b64(s["sig"]))
    try:
        public = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), key["public"])
        public.verify(b64(s["sig"]), signed, ec.ECDSA(hashes.SHA256()))
        return True
    except (InvalidSignature, ValueError):
        return False


def open_head(note, key):
    """A C2SP checkpoint in a signed note: the origin, the number of entries, the root."""
    name, number, public = key.split("+", 2)
    public = b64(public)
    need(public[:1] == b"\x01" and len(public) == 33, "the head's key is not Ed25519")
    want = hashlib.sha256(name.encode() + b"\n" + public).digest()[:4]
    need(want.hex() == number, "the head's key has another number")
    text, signatures = note.rsplit("\n\n", 1)
    text += "\n"
    good = False
    for line in signatures.splitlines():
        need(line.startswith("\u2014 "), "a line of signatures is none")
        signer, signature = line[2:].split(" ")
        raw = b64(signature)
        if signer == name and raw[:4] == want:
            need(verify(public[1:], text.encode(), raw[4:]), "the head's signature is bad")
            good = True
    need(good, "the head is not signed by its key")
    origin, size, root, rest = text.split("\n")
    need(rest == "" and str(int(size)) == size, "the head has not three lines")
    return origin, int(size), b64(root)


def node(left, right):
    return hashlib.sha256(b"\x01" + left + right).digest()


def root_of(index, size, leaf, proof):
    """RFC 9162, 2.1.3.2."""
    need(0 <= index < size, "the entry is not under the head")
    fn, sn, r = index, size - 1, leaf
    for p in proof:
        need(sn != 0, "the proof is too long")
        if fn & 1 or fn == sn:
            r = node(p, r)
            while not fn & 1 and fn != 0:
                fn >>= 1
                sn >>= 1
        else:
            r = node(r, p)
        fn >>= 1
        sn >>= 1
    need(sn == 0, "the proof is too short")
    return r


def day(milliseconds, zone):
    """The date of a moment in a zone."""
    moment = datetime.datetime.fromtimestamp(milliseconds / 1000, datetime.timezone.utc)
    return moment.astimezone(zoneinfo.ZoneInfo(zone)).date().isoformat()


# Who must have signed an entry of a type, and what for: "appointed" is a supervisor appointed for the task at the site.
SIGNED = {
    "programme_adopted": ["coordinator"], "parameters_adopted": ["coordinator"], "question_voided": ["coordinator"],
    "appointed": ["coordinator"], "appointment_ended": ["coordinator"], "erasure": ["coordinator"],
    "sign_off": ["appointed"], "spot_check": ["appointed"], "clearance": ["appointed"],
    "return": ["supervisor", "coordinator"], "stand_down_signed": ["supervisor", "coordinator"], "settlement": ["supervisor", "coordinator"],
    "restore": ["appointed", "coordinator"], "recognition": ["appointed", "coordinator"], "correction": ["appointed", "coordinator"],
    "stand_down_review": ["appointed", "coordinator"], "countersigned": ["self"],
}


class Authority:
    """Who holds which role and appointment, as the entries so far say."""

    def __init__(self):
        self.roles, self.appointments, self.tasks = [], [], {}

    def task(self, body):
        payload = body["payload"]
        own = payload.get("task") or payload.get("sign_off", {}).get("task")
        named = payload.get("disputes") or payload.get("stand_down") or payload.get("matter") or body.get("corrects")
        if body["type"] in ("countersigned", "reply"):
            named = payload["entry"]
        return own or self.tasks.get(named, "")

    def holds(self, person, role, on, site=""):
        return any(r["person"] == person and r["role"] == role and r["from"] <= on and (not r["until"] or on <= r["until"])
                   and (not site or not r["site"] or r["site"] == site) for r in self.roles)

    def appointed(self, person, entry):
        body = entry["body"]
        on, task, site = day(body["happened_at"], body["zone"]), self.task(body), body.get("site", "")
        return self.holds(person, "supervisor", day(entry["recorded_at"], body["zone"]), site) and any(
            a["person"] == person and a["from"] <= on and (not a["until"] or on <= a["until"])
            and (not task or a["task"] == task and a["site"] in ("", site)) for a in self.appointments)

    def may(self, person, entry, ways):
        on = day(entry["recorded_at"], entry["body"]["zone"])
        return any(way == "self" and person == entry["body"]["subject"]
                   or way == "appointed" and self.appointed(person, entry)
                   or way in ("supervisor", "coordinator") and self.holds(person, way, on) for way in ways)

    def check(self, entry, index, signers):
        """signers are the persons whose keys in force have signed."""
        body = entry["body"]
        payload, kind, actor = body["payload"], body["type"], body["actor"]
        need(len(set(signers)) == len(signers), "one person has signed twice")
        ways = SIGNED.get(kind)
        if kind == "role_granted" and (payload["role"] == "coordinator" or payload.get("author")):
            ways = ["self"] if index == 1 and payload["role"] == "coordinator" else ["coordinator"]
        if kind == "key_added":
            on = day(entry["recorded_at"], body["zone"])
            need(signers and self.holds(signers[0], "coordinator", on), "no coordinator has signed the new key")
        elif ways:
            need(actor in signers, "whoever made it has not signed it")
            need(self.may(actor, entry, ways), "whoever signed it had no authority to")
        seconds = [] if kind in ("opening", "key_added") else [p for p in signers if p != actor]
        need(not seconds or actor in signers, "a second has signed without a first")
        for person in seconds:
            need(person != body.get("subject"), "somebody has signed for themselves")
            need(self.may(person, entry, ["appointed", "coordinator"]), "the second had no authority to sign")
        if kind == "recognition" or kind == "clearance" and "waiver" in payload or kind == "sign_off" and payload.get("paper"):
            need(seconds, "the second signature is missing")
        self.note(body)

    def note(self, body):
        payload = body["payload"]
        self.tasks[body["id"]] = self.task(body)
        begun = {"entry": body["id"], "person": body.get("subject"), "site": payload.get("site", ""), "until": payload.get("until", "")}
        if body["type"] == "role_granted":
            self.roles.append(dict(begun, role=payload["role"], **{"from": payload["from"]}))
        if body["type"] == "appointed":
            self.appointments.append(dict(begun, task=payload["task"], **{"from": payload["from"]}))
        if body["type"] in ("role_ended", "appointment_ended"):
            for x in self.roles + self.appointments:
                if x["entry"] == payload["ends"]:
                    x["until"] = min(x["until"] or payload["date"], payload["date"])


class Keys:
    """The signing keys, as the entries bring them into force and end them."""

    def __init__(self):
        self.known, self.authority = {}, Authority()

    @staticmethod
    def read(key):
        """A key as an entry describes it."""
        return {"alg": key["alg"], "public": b64(key["public"]), "origin": key.get("origin"), "rp_id": key.get("rp_id")}

    def check(self, entry, index):
        body, at = entry["body"], entry["recorded_at"]
        payload = body["payload"]
        fresh = payload["key"] if body["type"] in ("opening", "key_added") else None
        message = b"brakewright-entry-v1\n" + canonical(body)
        own, vouched, signers = False, body["type"] == "opening", []
        for s in entry["signatures"]:
            if fresh and s["key"] == fresh["key"]:
                key, own = self.read(fresh), True
            else:
                need(s["key"] in self.known, "the key %s is not in the bundle" % s["key"])
                key = self.known[s["key"]]
                need(key["from"] <= at and (key["to"] is None or at < key["to"]), "the key %s was not in force" % s["key"])
                vouched = True
                signers.append(key["person"])
            need(s["alg"] == key["alg"], "a signature of another kind than its key")
            if key["alg"] == "ed25519":
                good = verify(key["public"], message, b64(s["sig"]))
            else:
                need(key["alg"] in ("webauthn-es256", "webauthn-ed25519"), "a key of a kind that is not known")
                good = assertion(key, message, s)
            need(good, "the signature by key %s does not fit the entry" % s["key"])
        self.authority.check(entry, index, signers)
        if fresh:
            need(own and vouched, "a new key is signed by itself and by a coordinator's")
            need(fresh["key"] not in self.known, "a key comes into force twice")
            self.known[fresh["key"]] = dict(self.read(fresh), person=body["subject"], **{"from": at, "to": None})
        if body["type"] == "key_ended" and payload["key"] in self.known:
            self.known[payload["key"]]["to"] = max(payload["from"], 1)
        if body["type"] in ("erasure", "erasure_replayed"):
            for key in self.known.values():
                if key["person"] == body["subject"] and key["to"] is None:
                    key["to"] = max(at, 1)
        return len(entry["signatures"])


def check(file, head_key=None):
    need(file.endswith(b"\n"), "the bundle is cut short")
    bundle = strict(file[:-1])
    need(bundle["format"] == "brakewright-bundle/1", "it is no bundle that this program knows")
    need(set(bundle) == {"format", "origin", "title", "zone", "person", "made_at", "head", "head_key", "entries", "contents"}, "it has other fields than a bundle")
    need(head_key in (None, bundle["head_key"]), "the bundle's head is under another key")
    origin, size, root = open_head(bundle["head"], bundle["head_key"])
    need(origin == bundle["origin"], "the head is another ledger's")
    keys, named, last = Keys(), set(), -1
    counts = {"entries": 0, "about": 0, "signatures": 0, "personal": 0, "contents": 0}
    for e in bundle["entries"]:
        need(e["index"] > last, "the entries are not in order")
        last = e["index"]
        try:
            leaf = b64(e["leaf"])
            entry = strict(leaf)
            need(root_of(e["index"], size, hashlib.sha256(b"\x00" + leaf).digest(), [b64(p) for p in e["proof"]]) == root,
                 "it is not under the head")
            body = entry["body"]
            need(set(entry) == {"body", "recorded_at", "signatures"} and body["v"] == 1, "it is no entry that this program knows")
            need((e["index"] == 0) == (body["type"] == "opening"), "the opening is entry 0 and nothing else is")
            if body["type"] == "opening":
                opened = (body["payload"]["origin"], body["payload"]["title"], body["zone"])
                need(opened == (bundle["origin"], bundle["title"], bundle["zone"]), "the bundle names another origin, title or zone than the opening")
            counts["signatures"] += keys.check(entry, e["index"])
            named.update(body["payload"].get("content", {}).values())
            fields = body["payload"].get("personal", {})
            about, field = body.get("subject") == bundle["person"], ""
            for f in e.get("personal", []):
                need(f["field"] > field, "the personal fields are not in order")
                field = f["field"]
                need(len(b64(f["salt"])) == 32, "a salt has not 32 bytes")
                need(about, "somebody else's personal field is opened")
                hashed = hashlib.sha256(b64(f["salt"]) + f["value"].encode()).hexdigest()
                need(fields.get(f["field"]) == hashed, "the personal field %s is not what the entry names" % f["field"])
                counts["personal"] += 1
            counts["about"] += about
            counts["entries"] += 1
        except Wrong as w:
            raise Wrong("entry %d: %s" % (e["index"], w))
    need(bundle["entries"] and bundle["entries"][0]["index"] == 0, "the opening is not among the entries")
    need(counts["about"] > 0, "no entry is about the person")
    last = ""
    for c in bundle["contents"]:
        need(c["hash"] > last, "the contents are not in order")
        last = c["hash"]
        need(hashlib.sha256(b64(c["bytes"])).hexdigest() == c["hash"], "content %s has other bytes" % c["hash"])
        need(c["hash"] in named, "no entry names the content %s" % c["hash"])
        counts["contents"] += 1
    return bundle, size, counts


def main():
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    try:
        with open(sys.argv[1], "rb") as f:
            bundle, size, counts = check(f.read(), *sys.argv[2:])
    except (Wrong, ValueError, KeyError, TypeError, AttributeError, UnicodeError, RecursionError, zoneinfo.ZoneInfoNotFoundError) as w:
        print("WRONG: %s" % (w or type(w).__name__))
        sys.exit(1)
    print("ok: %s, %d entries of %d, %d of them about %s" % (bundle["origin"], counts["entries"], size, counts["about"], bundle["person"]))
    print("ok: %(signatures)d signatures, %(personal)d personal fields, %(contents)d contents" % counts)
    print("not proved: that no entry was left out" + ("" if len(sys.argv) == 3 else "; that the head's key is the right one"))


if __name__ == "__main__":
    main()
