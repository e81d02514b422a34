// What stands in the page's own HTML, of whatever kind.
/** @type {(id: string) => any} */
export const byId = (id) => document.getElementById(id);
