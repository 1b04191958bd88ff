// Makes chosen photos small enough to send, sends them, and lets the form tie them to
// the job. Drawing a photo anew leaves behind what the camera wrote into it, such as
// the place.
(() => {
  'use strict';
  const form = document.querySelector('[data-add-photos]');
  const longestSide = 1600;
  const quality = 0.82;
  const files = form.querySelector('input[type=file]');
  const status = form.querySelector('[role=status]');
  const problem = form.querySelector('[role=alert]');
  const say = (name, values) => form.dataset[name].replace(/\{(\w+)\}/g, (_, key) => values[key]);

  const shrink = async (file) => {
    const picture = await createImageBitmap(file, { imageOrientation: 'from-image' });
    const scale = Math.min(1, longestSide / Math.max(picture.width, picture.height));
    const canvas = document.createElement('canvas');
    canvas.width = Math.max(1, Math.round(picture.width * scale));
    canvas.height = Math.max(1, Math.round(picture.height * scale));
    canvas.getContext('2d').drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    const blob = await new Promise((resolve) => { canvas.toBlob(resolve, 'image/jpeg', quality); });
    if (!blob) throw new Error('not drawn');
    return blob.arrayBuffer();
  };

  // send returns the digest of a file that the ledger has now; it throws what to say.
  const send = async (file) => {
    let bytes;
    try {
      bytes = await shrink(file);
    } catch {
      throw new Error(say('unreadable', { file: file.name }));
    }
    const sum = new Uint8Array(await crypto.subtle.digest('SHA-256', bytes));
    const digest = [...sum].map((b) => b.toString(16).padStart(2, '0')).join('');
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
