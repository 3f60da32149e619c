// Everything works without this file. With it, a form marked data-swap saves without a new page, lines of an order move
// at once, and taps made without a connection wait in this browser and are sent again: each carries its own id, so that
// none counts twice.
"use strict";
(() => {
  const status = () => document.getElementById("status");
  // quiet: for ears only. What appeared on top would push the page down under the finger that presses the next button.
  const say = (text, quiet) => {
    const p = status();
    if (!p) return;
    p.textContent = "";
    p.classList.toggle("notice", text !== "" && !quiet);
    p.classList.toggle("hidden", !!quiet);
    requestAnimationFrame(() => { p.textContent = text; });
  };

  // ---- saving without a new page ----

  // done is the box whose form was saved: it has done its work and shuts, and the focus goes to its summary.
  const show = (html, url, done) => {
    const next = new DOMParser().parseFromString(html, "text/html");
    const from = next.getElementById("main"), to = document.getElementById("main");
    if (!from || !to) { location.assign(url); return; }
    const at = document.activeElement;
    const focus = at && at.id;
    const place = at && at.closest("[id]"); // stays where it is on the screen
    const top = place && place !== to ? place.getBoundingClientRect().top : null;
    const open = [...to.querySelectorAll("details[open][id]")].map((d) => d.id).filter((id) => id !== done);
    const x = scrollX, y = scrollY;
    const notice = from.querySelector("#status");
    const text = notice ? notice.textContent : "";
    if (notice) { notice.textContent = ""; notice.className = "hidden"; }
    to.replaceChildren(...from.childNodes);
    document.title = next.title;
    for (const id of open) { const d = document.getElementById(id); if (d) d.open = true; }
    prepare(to);
    const held = focus && document.getElementById(focus), box = done && document.getElementById(done);
    const back = held && held.checkVisibility() ? held : box && box.querySelector("summary");
    if (back) back.focus({ preventScroll: true }); else to.focus({ preventScroll: true });
    const alert = to.querySelector(".problem[role=alert], .fault");
    const hash = new URL(url, location.href).hash;
    if (alert) alert.scrollIntoView({ block: "center" });
    else if (hash === "#feedback") { const f = document.querySelector(hash); if (f) f.scrollIntoView({ block: "nearest" }); }
    else {
      scrollTo({ left: x, top: y, behavior: "instant" });
      const now = top !== null && document.getElementById(place.id);
      if (now) scrollBy({ top: now.getBoundingClientRect().top - top, behavior: "instant" });
    }
    say(text, true);
  };

  const samePage = (url) => new URL(url, location.href).pathname === location.pathname;

  const send = async (url, body, options) => {
    const answer = await fetch(url, { method: "POST", body, credentials: "same-origin", headers: { Accept: "text/html" }, ...options });
    return { answer, html: await answer.text() };
  };

  document.addEventListener("submit", async (e) => {
    const form = e.target;
    if (!(form instanceof HTMLFormElement) || !form.hasAttribute("data-swap") || e.defaultPrevented) return;
    e.preventDefault();
    if (form.dataset.busy) return;
    const fields = new FormData(form, e.submitter);
    const body = new URLSearchParams(fields);
    form.dataset.busy = "1";
    try {
      if (form.method === "get") {
        const url = new URL(form.action, location.href);
        const hash = url.hash;
        url.search = body.toString();
        const answer = await fetch(url, { credentials: "same-origin" });
        history.replaceState(null, "", url);
        show(await answer.text(), answer.url + hash);
        return;
      }
      if (waiting().length) await flush();
      toKeep = null;
      if (keeping) await keeping;
      const { answer, html } = await send(form.action, body);
      if (answer.status === 401 && form.action.endsWith("/tap")) { // the session has ended: the tap waits for the log-in
        keep(form.action, body.toString(), e.submitter);
        location.assign(`/login?notice=tap_kept&next=${encodeURIComponent(location.pathname)}`);
        return;
      }
      if (answer.redirected && !samePage(answer.url)) { location.assign(answer.url); return; }
      const box = answer.ok && form.closest("details[id]");
      show(html, answer.url, box ? box.id : "");
    } catch {
      if (form.action.endsWith("/tap")) keep(form.action, body.toString(), e.submitter);
      else say("No connection. Nothing was saved. Try again.");
    } finally {
      delete form.dataset.busy;
    }
  });

  // ---- taps that wait for a connection ----

  const store = "brakewright-taps";
  const person = document.body.dataset.person || "";
  const all = () => { try { return JSON.parse(localStorage.getItem(store)) || []; } catch { return []; } };
  // Only who made a tap may send it: the next person at a shared tablet never does.
  const waiting = () => all().filter((t) => person && t.person === person);
  const put = (list) => { try { localStorage.setItem(store, JSON.stringify(list)); } catch { /* full or refused: the tap stays on the page */ } };
  const drop = (tap) => {
    const list = all();
    const i = list.findIndex((t) => t.person === tap.person && t.url === tap.url && t.body === tap.body);
    if (i >= 0) list.splice(i, 1);
    put(list);
  };

  const keep = (url, body, button) => {
    put([...all(), { person, url, body }]);
    if (button && button.closest(".taps-row")) {
      for (const b of button.parentElement.querySelectorAll("button[aria-pressed]")) b.setAttribute("aria-pressed", String(b === button));
    }
    bar("No connection");
  };

  const bar = (why) => {
    let b = document.querySelector(".waits");
    const n = waiting().length;
    if (!n) { if (b) b.remove(); return; }
    if (!b) {
      b = document.createElement("p");
      b.className = "waits";
      b.setAttribute("role", "status");
      document.body.prepend(b);
    }
    b.textContent = `${why || "Not sent yet"}. ${n === 1 ? "1 tap waits" : n + " taps wait"} in this browser and will be sent by itself. Do not sign before.`;
  };

  let flushing = null;
  const flush = () => { flushing ||= flushAll().finally(() => { flushing = null; }); return flushing; };
  const flushAll = async () => {
    let last = null;
    for (let list = waiting(); list.length; list = waiting()) {
      const { answer, html } = await send(list[0].url, new URLSearchParams(list[0].body));
      if (answer.status === 503) throw new Error("The server is busy");
      if (answer.status === 401 || new URL(answer.url).pathname === "/login") throw new Error("Your session has ended: log in again");
      drop(list[0]);
      last = { html, url: answer.url };
      if (!answer.ok) break; // what is wrong stands on the page
    }
    bar();
    if (last && samePage(last.url.replace(/\/tap$/, ""))) show(last.html, last.url);
  };
  const retry = () => { if (waiting().length) flush().catch((e) => bar(e instanceof TypeError ? "No connection" : e.message)); };
  addEventListener("online", retry);
  setInterval(retry, 8000);

  // ---- lines that move ----

  document.addEventListener("click", (e) => {
    const button = e.target.closest && e.target.closest("[data-order] button[name=move]");
    if (!button) return;
    e.preventDefault();
    const line = button.closest("li"), list = line.parentElement;
    const up = button.value.endsWith(":up");
    if (up && line.previousElementSibling) list.insertBefore(line, line.previousElementSibling);
    else if (!up && line.nextElementSibling) list.insertBefore(line.nextElementSibling, line);
    renumber(list);
    const now = button.disabled ? line.querySelector("button:not(:disabled)") : button;
    if (now) now.focus();
    say(`Moved to ${[...list.children].indexOf(line) + 1} of ${list.children.length}`, true);
    keepAnswer(list.closest("form"));
  });
  document.addEventListener("change", (e) => {
    const field = e.target.closest && e.target.closest("[data-order] .place input");
    if (!field) return;
    const line = field.closest("li"), list = line.parentElement, n = list.children.length;
    const at = Math.min(n, Math.max(1, parseInt(field.value, 10) || 1));
    line.remove();
    list.insertBefore(line, list.children[at - 1] || null);
    renumber(list);
    field.focus();
    say(`Moved to ${at} of ${n}`, true);
  });
  const renumber = (list) => {
    [...list.children].forEach((li, i) => {
      li.querySelector(".place input").value = i + 1;
      const [up, down] = li.querySelectorAll("button[name=move]");
      up.disabled = i === 0;
      down.disabled = i === list.children.length - 1;
    });
  };

  // ---- an answer is kept as it is given; the buttons save it too ----

  let toKeep = null, keeping = null; // the latest answer, one request at a time: an older one must never arrive later
  const keepAnswer = (form) => {
    if (!form || !form.hasAttribute("data-keep") || form.dataset.busy) return;
    toKeep = new URLSearchParams(new FormData(form));
    toKeep.set("go", "keep");
    keeping ||= keepAll(form).finally(() => { keeping = null; });
  };
  const keepAll = async (form) => {
    while (toKeep) {
      const body = toKeep;
      toKeep = null;
      try {
        const { answer, html } = await send(form.action, body, { keepalive: true });
        if (answer.status !== 200 || !samePage(answer.url) || !form.isConnected) continue;
        const next = new DOMParser().parseFromString(html, "text/html").querySelectorAll("[data-kept]");
        document.querySelectorAll("[data-kept]").forEach((old, i) => { if (next[i]) old.replaceWith(next[i]); });
      } catch { /* the button sends it again, and says so if it cannot */ }
    }
  };
  document.addEventListener("change", (e) => keepAnswer(e.target.form));

  // ---- signing with a passkey ----

  // A form that asks for the signing passphrase gets a second button. It asks the server what there is to sign, has the
  // device sign that, and sends the form with the device's answer; what is wrong with the form, the server says as ever.
  const bytes = (text) => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0));
  const text64 = (buffer) => btoa(String.fromCharCode(...new Uint8Array(buffer))).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
  const named = (list) => (list || []).map((c) => ({ ...c, id: bytes(c.id) }));
  const answerOf = (c) => {
    const response = {};
    for (const part of ["clientDataJSON", "attestationObject", "authenticatorData", "signature"]) {
      if (c.response[part]) response[part] = text64(c.response[part]);
    }
    return JSON.stringify({ id: c.id, rawId: text64(c.rawId), type: c.type, response, clientExtensionResults: {} });
  };
  const touch = async (asked) => answerOf(await navigator.credentials.get({
    publicKey: { ...asked, challenge: bytes(asked.challenge), allowCredentials: named(asked.allowCredentials) },
  }));
  const put64 = (form, name, value) => {
    const field = form.querySelector(`input[type=hidden][name=${name}]`) || form.appendChild(Object.assign(document.createElement("input"), { type: "hidden", name }));
    field.value = value;
  };
  const complain = (button, text) => {
    let p = button.parentElement.querySelector(".fault");
    if (!p) {
      p = document.createElement("span");
      p.className = "fault";
      p.setAttribute("role", "alert");
      button.after(p);
    }
    p.textContent = text;
  };

  const signWith = async (form, field, button) => {
    const main = form.querySelector("button:not([type=button])");
    const needed = field.required;
    field.required = false;
    try {
      if (!form.reportValidity()) return;
      const body = new URLSearchParams(new FormData(form, main));
      body.set("passkey", "ask");
      body.delete("passkey_answer");
      button.disabled = true;
      const reply = await fetch(form.action, { method: "POST", body, credentials: "same-origin" });
      put64(form, "passkey", "ask");
      put64(form, "passkey_answer", "");
      if (reply.status === 202) {
        const asked = await reply.json();
        const answer = await touch(asked.publicKey);
        put64(form, "passkey", asked.signing);
        put64(form, "passkey_answer", text64(new TextEncoder().encode(answer)));
      } else if (reply.ok || reply.redirected) { // nothing was left to be signed
        location.assign(reply.url);
        return;
      }
      field.value = "";
      form.requestSubmit(main);
    } catch (e) {
      complain(button, e instanceof TypeError ? "No connection. Nothing was signed. Try again."
        : "Your device did not sign, so nothing was signed. Try again, or type your passphrase.");
    } finally {
      button.disabled = false;
      for (const name of ["passkey", "passkey_answer"]) { // the next press of the other button means the passphrase
        const x = form.querySelector(`input[type=hidden][name=${name}]`);
        if (x) setTimeout(() => x.remove());
      }
      field.required = needed;
    }
  };

  const offerPasskeys = (root) => {
    if (!window.PublicKeyCredential) return;
    for (const none of root.querySelectorAll("[data-passkey-none]")) none.hidden = true;
    for (const make of root.querySelectorAll("[data-passkey-make]")) make.hidden = false;
    if (!document.body.hasAttribute("data-passkeys")) return;
    for (const field of root.querySelectorAll('form[method=post]:not([data-passphrase-only]) input[type=password][name$=passphrase][autocomplete=off]')) {
      // Where several buttons send the form, a signature that is not needed yet is given later, on its own page.
      if (field.name.startsWith("second_") || field.form.querySelectorAll("button:not([type=button])").length > 1 || field.closest("p").nextElementSibling?.classList.contains("touch")) continue;
      const p = document.createElement("p"), button = document.createElement("button");
      p.className = "touch";
      button.type = "button";
      button.textContent = "Sign with your passkey instead";
      button.addEventListener("click", () => signWith(field.form, field, button));
      p.append(button);
      field.closest("p").after(p);
    }
  };

  document.addEventListener("click", async (e) => {
    const button = e.target.closest && e.target.closest("[data-passkey-make] button");
    if (!button) return;
    const step = async (path, body) => {
      const reply = await fetch(path, { method: "POST", body, credentials: "same-origin", headers: { "Content-Type": "application/json" } });
      if (reply.ok) return reply.status === 204 ? null : reply.json();
      const problem = await reply.json().catch(() => ({}));
      throw Object.assign(new Error(problem.detail || "Something went wrong. Try again."), { said: true });
    };
    button.disabled = true;
    try {
      const asked = await step("/account/passkey", "{}"), k = asked.publicKey;
      const made = await navigator.credentials.create({
        publicKey: { ...k, challenge: bytes(k.challenge), user: { ...k.user, id: bytes(k.user.id) }, excludeCredentials: named(k.excludeCredentials) },
      });
      const next = await step(`/account/passkey/${asked.signing}/made`, answerOf(made));
      await step(`/account/passkey/${next.signing}/signed`, await touch(next.publicKey)); // the new key signs for itself
      location.assign("/account?notice=key_asked#key");
    } catch (e) {
      complain(button, e.said ? e.message : e.name === "InvalidStateError" ? "This device has a passkey of yours for this site already."
        : "No passkey was made. Try again.");
    } finally {
      button.disabled = false;
    }
  });

  // ---- small things ----

  // What was said once is not said again when the page is loaded anew or its address passed on.
  const here = new URL(location.href);
  if (here.searchParams.has("notice")) {
    here.searchParams.delete("notice");
    history.replaceState(history.state, "", here);
  }

  const prepare = (root) => {
    for (const b of root.querySelectorAll("[data-print], [data-scripted]")) b.hidden = false;
    offerPasskeys(root);
  };
  document.addEventListener("click", (e) => {
    if (e.target.closest && e.target.closest("[data-print]")) print();
  });
  document.addEventListener("submit", (e) => { // pressing twice does not send twice
    const form = e.target;
    if (e.defaultPrevented || form.hasAttribute("data-swap") || form.method === "get") return;
    if (form.dataset.sent) { e.preventDefault(); return; }
    form.dataset.sent = "1";
  });
  addEventListener("pageshow", () => { for (const f of document.forms) delete f.dataset.sent; });
  prepare(document);
  bar();
  retry();
})();
