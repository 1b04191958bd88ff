// Says texts by their keys. The server makes texts.js of those in the firm's language.
import { texts } from './texts.js';

// say returns a text with values put into its places.
export const say = (key, values = {}) => {
  if (!texts[key]) throw new Error(`there is no text ${key}`);
  return texts[key].replace(/\{([a-z]+)\}/g, (_, name) => values[name]);
};
