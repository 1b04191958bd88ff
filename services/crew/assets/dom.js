// Builds elements. Text is always text: nothing that was recorded is read as markup.
export const h = (tag, props = {}, ...children) => {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith('on')) element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value === true ? '' : value);
  }
  element.append(...children.flat(2).filter((child) => child !== undefined && child !== null && child !== false));
  return element;
};
