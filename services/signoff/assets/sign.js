// Draws a signature, keeps what was typed on this device until it is sent, and sends it
// again until it arrives. The id stays the same, so that it is recorded once. Without
// this file the form is sent as it is, and the typed name signs.
(() => {
  'use strict';
  const form = document.getElementById('sign');
  const pad = document.getElementById('pad');
  const problem = document.getElementById('problem');
  const state = document.getElementById('state');
  const field = (name) => form.elements.namedItem(name);
  const store = 'daysheet sign-off ' + form.dataset.link;
  const longest = 16000;
  const say = (text) => { state.textContent = text; };
  const told = document.getElementById('refused');
  const why = document.getElementById('why');
  const couldNot = told.textContent;

  // refuse says what is wrong, and in the ledger's words why; it clears what it said
  // where there is nothing to say.
  const refuse = (text = '', reason = '') => {
    told.textContent = text;
    why.textContent = reason;
    why.lang = 'en'; // as programs are told
    problem.hidden = text === '';
    if (text !== '') problem.scrollIntoView({ block: 'center' });
  };
  let waiting = false; // signed, and not recorded yet
  let signedAt = '';
  let pause = 2000;
  let timer = 0;

  const ticked = () => [...form.querySelectorAll('input[name=snags]:checked')].map((box) => box.value);
  const content = () => ({
    id: field('id').value, name: field('name').value.trim(), role: field('role').value.trim(),
    remarks: field('remarks').value.trim(), snags: ticked(), drawn: field('drawn').value, typed: field('typed').checked,
  });

  // A browser that keeps nothing, in a private window for example, loses only the draft.
  const keep = () => {
    try { localStorage.setItem(store, JSON.stringify({ ...content(), waiting, time: signedAt })); } catch { /* as said */ }
  };
  const forget = () => {
    try { localStorage.removeItem(store); } catch { /* as said */ }
  };
  const kept = () => {
    try { return JSON.parse(localStorage.getItem(store)); } catch { return null; }
  };

  const show = () => document.getElementById('strokes').setAttribute('d', field('drawn').value);
  const restore = (draft) => {
    for (const name of ['id', 'name', 'role', 'remarks', 'drawn']) field(name).value = draft[name];
    field('typed').checked = draft.typed;
    form.querySelectorAll('input[name=snags]').forEach((box) => { box.checked = draft.snags.includes(box.value); });
    waiting = draft.waiting;
    signedAt = draft.time;
  };

  // Points are whole numbers in a field of 600 by 200, whatever the size on the screen.
  const point = (event) => {
    const box = pad.getBoundingClientRect();
    const within = (value, most) => Math.max(0, Math.min(most, Math.round(value)));
    return within((event.clientX - box.left) / box.width * 600, 600) + ' ' +
      within((event.clientY - box.top) / box.height * 200, 200);
  };
  let last = '';
  const draw = (command, event) => {
    const at = point(event);
    const path = field('drawn').value + command + at;
    if (at === last && command === 'L' || path.length > longest) return;
    last = at;
    field('drawn').value = path;
    show();
  };
  pad.addEventListener('pointerdown', (event) => {
    event.preventDefault();
    pad.setPointerCapture(event.pointerId);
    draw('M', event);
  });
  pad.addEventListener('pointermove', (event) => {
    if (pad.hasPointerCapture(event.pointerId)) draw('L', event);
  });
  pad.addEventListener('pointerup', keep); // what was refused stays until the next try: the field must not move under the finger
  document.getElementById('clear').addEventListener('click', () => {
    field('drawn').value = '';
    show();
    keep();
  });

  const later = () => {
    say(form.dataset.later);
    clearTimeout(timer);
    timer = setTimeout(send, pause);
    pause = Math.min(pause * 2, 60000);
  };
  const send = async () => {
    clearTimeout(timer);
    say(form.dataset.sending);
    let answer;
    try {
      answer = await fetch(form.dataset.api, {
        method: 'POST', headers: { 'Content-Type': 'application/json', Accept: 'application/json' },
        body: JSON.stringify({ ...content(), time: signedAt }),
      });
    } catch {
      later();
      return;
    }
    if (answer.status >= 500 || answer.status === 429) {
      later();
      return;
    }
    const said = await answer.json().catch(() => ({}));
    if (!answer.ok) {
      waiting = false;
      keep();
      say('');
      if (said.detail) refuse(couldNot, said.detail);
      else refuse(form.dataset.again);
      document.getElementById('send').disabled = false;
      return;
    }
    forget();
    say(form.dataset.done);
    location.replace(said.next || form.dataset.next);
  };

  const local = (now) => {
    const two = (n) => String(Math.trunc(Math.abs(n))).padStart(2, '0');
    const offset = -now.getTimezoneOffset();
    return now.getFullYear() + '-' + two(now.getMonth() + 1) + '-' + two(now.getDate()) + 'T' + two(now.getHours()) + ':' +
      two(now.getMinutes()) + ':' + two(now.getSeconds()) + (offset < 0 ? '-' : '+') + two(offset / 60) + ':' + two(offset % 60);
  };
  form.addEventListener('input', keep);
  form.addEventListener('submit', (event) => {
    event.preventDefault();
    refuse();
    if (field('drawn').value === '' && !field('typed').checked) {
      refuse(form.dataset.unsigned);
      return;
    }
    waiting = true;
    signedAt = local(new Date());
    document.getElementById('send').disabled = true;
    keep();
    send();
  });
  window.addEventListener('online', () => { if (waiting) send(); });

  const draft = kept();
  if (draft) restore(draft);
  document.getElementById('draw').hidden = false;
  show();
  if (waiting) {
    document.getElementById('send').disabled = true;
    send();
  }
})();
