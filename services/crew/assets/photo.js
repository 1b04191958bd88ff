// Keeps photos until they are sent, and shows them.
import { h } from './dom.js';
import { say } from './say.js';
import { digestOf, shrink } from './shrink.js';
import { put, read } from './store.js';

// keepPhoto stores a photo and returns its digest, by which the ledger knows it.
export const keepPhoto = async (file) => {
  const bytes = await shrink(file);
  const sha256 = await digestOf(bytes);
  const known = await read('photos', sha256);
  if (!known) await put('photos', { sha256, bytes, type: 'image/jpeg', sent: false, taken: Date.now() });
  return sha256;
};

// picture returns a small picture of the nth photo of an entry: of what is kept here,
// else of what the ledger has.
export const picture = (sha256, n) => {
  const image = h('img', { alt: say('crew.photo-n', { n: n + 1 }), width: 112, height: 112 });
  read('photos', sha256).then((photo) => {
    if (!photo) {
      image.src = `/v1/photos/${sha256}?width=320`;
      return;
    }
    const address = URL.createObjectURL(new Blob([photo.bytes], { type: photo.type }));
    image.addEventListener('load', () => URL.revokeObjectURL(address), { once: true });
    image.src = address;
  });
  return image;
};
