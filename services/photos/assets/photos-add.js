// Makes chosen photos small enough to send, sends them, and lets the form tie them to
// the job.
(() => {
  'use strict';
  const form = document.querySelector('[data-add-photos]');
  const files = form.querySelector('input[type=file]');
  const status = form.querySelector('[role=status]');
  const problem = form.querySelector('[role=alert]');
  const say = (name, values) => form.dataset[name].replace(/\{(\w+)\}/g, (_, key) => values[key]);

  // send returns the digest of a file that the ledger has now; it throws what to say.
  const send = async (file) => {
    const { shrink, digestOf } = await import(form.dataset.shrink).catch(() => { throw new Error(say('lost', {})); });
    let bytes;
    try {
      bytes = await shrink(file);
    } catch {
      throw new Error(say('unreadable', { file: file.name }));
    }
    const digest = await digestOf(bytes);
    let answer;
    try {
      answer = await fetch(`/v1/photos/${digest}`, { method: 'PUT', body: bytes, headers: { Accept: 'application/json' } });
    } catch {
      throw new Error(say('lost', {}));
    }
    if (!answer.ok) {
      const why = await answer.json().catch(() => ({}));
      throw new Error(say('unsent', { file: file.name, why: why.detail ?? why.title ?? answer.status }));
    }
    return digest;
  };

  const sendAll = async () => {
    problem.textContent = '';
    form.querySelectorAll('input[name=photo]').forEach((input) => input.remove());
    for (const [i, file] of [...files.files].entries()) {
      status.textContent = say('sending', { n: i + 1, of: files.files.length });
      const input = document.createElement('input');
      input.type = 'hidden';
      input.name = 'photo';
      input.value = await send(file);
      form.append(input);
    }
  };

  form.addEventListener('submit', async (event) => {
    event.preventDefault();
    const button = form.querySelector('button');
    button.disabled = true;
    try {
      await sendAll();
      form.submit(); // the file itself has no name and stays here
    } catch (err) {
      status.textContent = '';
      problem.textContent = err.message;
    } finally {
      button.disabled = false;
    }
  });
})();
