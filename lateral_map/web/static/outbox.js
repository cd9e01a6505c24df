/* Changes on their way to the site: kept on this device until the server has them, one after another. */

import { Refused, Unreached, isStale, keep, kept, say, send, siteId, tellOtherPorts } from "./parts.js";

let sending = null; // the op of the one under way
let isSending = false;
let hooks = {};

/** Say what to do when the outbox changes, and when one of its changes is done, refused or asked about. */
export const watchOutbox = (given) => (hooks = given);

/** Every change that the site is not known to have, the oldest first. */
export const outbox = () => kept("outbox") || [];

/** True while a change is on its way: it cannot be called back then. */
export const isUnderWay = (op) => sending === op;

function write(list) {
  keep("outbox", list.length ? list : null);
  tellOtherPorts(list.length);
}

/** Put a change in and send what there is. `from` is what its form needs to take it back. */
export function put(change) {
  write([...outbox(), { ...change, since: new Date().toISOString() }]);
  sendAll(); // on its way before the page is drawn anew
  hooks.changed();
}

/** Take a change out, to be edited or forgotten. */
export function takeOut(op) {
  const item = outbox().find(({ body }) => body.op === op);
  write(without(op));
  hooks.changed();
  return item;
}

const without = (op) => outbox().filter(({ body }) => body.op !== op);
const update = (op, more) => write(outbox().map((item) => (item.body.op === op ? { ...item, ...more } : item)));

/** Send one that was refused once more. */
export function sendAgain(op) {
  update(op, { stopped: null });
  sendAll();
  hooks.changed();
}

/** Send everything that no answer is needed for, one at a time.
 *
 * Nothing but the server's answer is waited for: what is drawn with it may take its time, or fail, and the next
 * is sent all the same. What is put in while the last one is under way is found by the same round. */
export async function sendAll() {
  if (isSending) return;
  isSending = true;
  try {
    for (let item = next(); item; item = next()) {
      if (!(await sendOne(item))) return;
    }
  } finally {
    [isSending, sending] = [false, null];
  }
}

const next = () => outbox().find(({ stopped }) => !stopped);

/* True where the next one may be sent. */
async function sendOne(item) {
  const { op } = item.body;
  sending = op;
  update(op, { tried: true });
  try {
    const state = await send(item.path, item.body);
    sending = null;
    write(without(op));
    hooks.done(item, state);
  } catch (error) {
    sending = null;
    if (error instanceof Unreached || [408, 503].includes(error.status)) return void hooks.unreached();
    if (isStale(error)) return void hooks.stale();
    if (!(error instanceof Refused)) throw error;
    update(op, { stopped: { words: error.message, answer: error.answer } });
    hooks.changed();
    const now = outbox().find(({ body }) => body.op === op);
    if (now) hooks.stopped(now, error); // not forgotten meanwhile, by another tab of this browser
  }
  return true;
}

/** The outbox as a file's text, and the other way round. */
export const outboxText = () => JSON.stringify({ format: 1, site: siteId, changes: outbox() }, null, 1);

/** Take in what another page exported; return how many changes. Throws an Error in words. */
export function takeIn(text) {
  let given;
  try {
    given = JSON.parse(text);
  } catch {
    throw new Error(say("no_kept_changes"));
  }
  if (!Array.isArray(given?.changes)) throw new Error(say("no_kept_changes"));
  if (given.site !== siteId) throw new Error(say("of_another_site"));
  const there = new Set(outbox().map(({ body }) => body.op));
  const sound = given.changes.filter(({ path, body }) => ["/rows", "/settings", "/plan", "/undo", "/outside"].includes(path) && body?.op && !there.has(body.op));
  write([...outbox(), ...sound]);
  sendAll();
  hooks.changed();
  return sound.length;
}
