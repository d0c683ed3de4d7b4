/** Questions to the page's own server: posted, for what is asked may be a token or a comment, and no address holds either. */
const WITHIN_MS = 4000;

/**
 * @param {string} word the path @param {Record<string, unknown>} fields @param {number} [within] milliseconds
 * @returns {Promise<any>} null where there is no answer in time
 */
export async function ask(word, fields, within = WITHIN_MS) {
  // A phone of some years has no AbortSignal.timeout, and would ask nothing at all.
  const limit = new AbortController(), over = setTimeout(() => limit.abort(), within);
  try {
    const answer = await fetch(word, { method: "POST", body: JSON.stringify(fields), cache: "no-store",
      headers: { "content-type": "application/json" }, signal: limit.signal });
    return answer.ok ? await answer.json() : null;
  } catch {
    return null;
  } finally {
    clearTimeout(over);
  }
}
