// The pictures of the next item, fetched and decoded before its turn: they stand there at once when it comes.
//
// Fetched with X-Ahead they are no delivery and no look. When their page comes they are asked for once more as themselves,
// which the server notes (200 or 304). A kept picture stands only in a page that names the same digest.

const kept = new Map();

const path = (url) => new URL(url, location.href).pathname;
const isOf = (digest, answer) => answer.headers.get("ETag")?.includes(digest);

/** Fetch and decode what comes next; what fails is fetched by its page as any picture is. */
export async function fetchAhead(urls) {
  for (const url of urls.filter((each) => !kept.has(path(each)))) await keep(url).catch(() => {});
}

async function keep(url) {
  const answer = await fetch(url, { headers: { "X-Ahead": "1" }, priority: "low" });
  if (!answer.ok) return;
  const image = new Image();
  image.src = URL.createObjectURL(await answer.blob());
  await image.decode();
  kept.set(path(url), { image, answer });
}

/** Put what is kept in the place of each picture of this page; everything else that is kept is let go. */
export function standIn(page) {
  const placed = [];
  for (const picture of page.querySelectorAll("img[data-digest]")) {
    const found = kept.get(path(picture.getAttribute("src")));
    if (!found || !isOf(picture.dataset.digest, found.answer)) continue;
    for (const { name, value } of picture.attributes) if (name !== "src") found.image.setAttribute(name, value);
    found.image.dataset.asked = picture.getAttribute("src");
    picture.replaceWith(found.image);
    placed.push(found.image);
  }
  for (const { image } of kept.values()) if (!placed.includes(image)) letGo(image);
  kept.clear();
}

export function letGo(image) {
  if (image.src.startsWith("blob:")) URL.revokeObjectURL(image.src);
}

/** Ask for each kept picture as itself: the server notes that it went to whoever is signed in. */
export async function delivered(page) {
  for (const image of page.querySelectorAll("img[data-asked]")) {
    const answer = await fetch(image.dataset.asked);
    if (!answer.ok || !isOf(image.dataset.digest, answer)) throw new Error(image.dataset.asked);
  }
}
