/**
 * A new element with a class and what it holds; text is text, never markup.
 *
 * @template {keyof HTMLElementTagNameMap} T
 * @param {T} tag
 * @param {string} className
 * @param {(Node | string)[]} inside
 * @returns {HTMLElementTagNameMap[T]}
 */
export function made(tag, className, ...inside) {
  const one = document.createElement(tag);
  if (className !== "") one.className = className;
  one.append(...inside);
  return one;
}
