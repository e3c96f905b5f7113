# One page of the handbook: HTML of cmark-gfm or mandoc in, a whole page out. See tools/handbook.
# Heads get GitHub's anchors, links among the sources become links among the pages, wide tables and
# listings scroll by themselves, and the table of contents stands beside the text.

# docs/files.md -> files.html; "" when the handbook has no such page
function page_of(path) {
  if (!(path in known)) return ""
  if (path == "docs/handbook.md") return "index.html"
  if (path == "README.md") return "readme.html"
  if (path == "benchmarks/README.md") return "benchmarks.html"
  sub(/^docs\//, "", path)
  sub(/README\.md$/, "index.html", path)
  sub(/\.md$/, ".html", path)
  sub(/\.1$/, ".1.html", path)
  return path
}

# "docs/decisions/" and "../json.md" -> "docs/json.md"
function resolve(folder, path,    part, n, i, kept, depth, text) {
  n = split(folder path, part, "/")
  for (i = 1; i <= n; i++) {
    if (part[i] == "" || part[i] == ".") continue
    if (part[i] == "..") { if (depth > 0) depth--; continue }
    kept[++depth] = part[i]
  }
  for (i = 1; i <= depth; i++) text = text (i > 1 ? "/" : "") kept[i]
  return text
}

# a link of this page as the browser needs it
function link(url,    at, id, path, to) {
  if (url ~ /^[a-z]+:/ || url ~ /^\/\//) return url
  at = index(url, "#")
  id = at ? substr(url, at + 1) : ""
  path = at ? substr(url, 1, at - 1) : url
  path = path == "" ? page : resolve(folder, path)
  if (page_of(path) == "" && page_of(path "/README.md") != "") path = path "/README.md"
  to = page_of(path)
  if (to == "") {
    if (system("test -f '" path "'") != 0) { print "LOST", page, url >> lint; return url }
    to = path
    if (!sub(/^docs\//, "", to)) to = "source/" to
    print "COPY", path, to >> lint
  } else if (id != "") {
    print "ANCHOR", page, to, id >> lint
  }
  return up to (id != "" ? "#" id : "")
}

function links(text,    done) {
  while (match(text, /(href|src)="[^"]*"/)) {
    done = done substr(text, 1, RSTART - 1)
    text_of = substr(text, RSTART, RLENGTH)
    text = substr(text, RSTART + RLENGTH)
    at_quote = index(text_of, "\"")
    done = done substr(text_of, 1, at_quote) link(substr(text_of, at_quote + 1, length(text_of) - at_quote - 1)) "\""
  }
  return done text
}

function plain(html) {
  gsub(/<[^>]*>/, "", html)
  return html
}

# GitHub's anchor of a head
function anchor(html,    text) {
  text = tolower(plain(html))
  gsub(/&quot;|&amp;|&lt;|&gt;/, "", text)
  gsub(/[][!"#$%&'()*+,.\/:;<=>?@\\^`{|}~]/, "", text)
  gsub(/ /, "-", text)
  if (text in used) text = text "-" (++used[text])
  else used[text] = 0
  return text
}

# the chapters, from the list items of docs/handbook.md
function chapters(    line, title, path, at) {
  while ((getline line < "docs/handbook.md") > 0) {
    if (line ~ /^## /) { part[count + 1] = substr(line, 4); continue }
    if (line !~ /^- \[[^]]*\]\([^)]*\)/) continue
    at = index(line, "](")
    title = substr(line, 4, at - 4)
    path = substr(line, at + 2)
    sub(/\).*/, "", path)
    count++
    chapter[count] = title
    source[count] = resolve("docs/", path)
    if (page_of(source[count] "/README.md") != "") source[count] = source[count] "/README.md"
    if (source[count] == page) here = count
  }
  close("docs/handbook.md")
}

function contents(    i, k, text) {
  text = "<nav id=\"contents\" aria-label=\"Contents\">\n<p class=\"title\"><a href=\"" up "index.html\">Leanward handbook</a></p>\n"
  for (i = 1; i <= count; i++) {
    if (i == 1 || (i in part)) text = text (i > 1 ? "</ul>\n" : "") ((i in part) ? "<p>" part[i] "</p>\n" : "") "<ul>\n"
    text = text "<li><a href=\"" up page_of(source[i]) "\"" (i == here ? " aria-current=\"page\"" : "") ">" chapter[i] "</a>"
    if (i == here && heads > 1) {
      text = text "\n<ul>\n"
      for (k = 1; k <= heads; k++) text = text "<li><a href=\"#" head_id[k] "\">" head[k] "</a></li>\n"
      text = text "</ul>\n"
    }
    text = text "</li>\n"
  }
  return text (count ? "</ul>\n" : "") "</nav>\n"
}

function step(i, word) {
  if (i < 1 || i > count) return "<span></span>"
  return "<a rel=\"" word "\" href=\"" up page_of(source[i]) "\">" chapter[i] "</a>"
}

BEGIN {
  n = split(pages, list, /[ \n]+/)
  for (i = 1; i <= n; i++) known[list[i]] = 1
  folder = page
  sub(/[^\/]*$/, "", folder)
  up = page_of(page) ~ /\// ? "../" : ""
  man = page ~ /\.1$/
  if (man) { title = "leanward(1)"; body = "<h1>leanward(1)</h1>\n" }
}

man {
  if (match($0, /<h1 class="Sh" id="[^"]*">/)) {
    text = head_id[++heads] = substr($0, RSTART + 19, RLENGTH - 21)
    gsub(/_/, " ", text)
    head[heads] = substr(text, 1, 1) tolower(substr(text, 2))
  }
  gsub(/<h1 class="Sh"/, "<h2 class=\"Sh\"")
  gsub(/<\/h1>/, "</h2>")
  body = body $0 "\n"
  next
}

# words such as <LF> in a key's description are no tags; those of ours are in small letters
{
  while (match($0, /<[A-Z][A-Z0-9]*>/))
    $0 = substr($0, 1, RSTART - 1) "&lt;" substr($0, RSTART + 1, RLENGTH - 2) "&gt;" substr($0, RSTART + RLENGTH)
}
/^<h[1-6]>/ {
  level = substr($0, 3, 1)
  inner = substr($0, 5, length($0) - 9)
  id = anchor(inner)
  if (level == 1 && title == "") title = plain(inner)
  if (level == 2) { head[++heads] = inner; head_id[heads] = id }
  $0 = "<h" level " id=\"" id "\">" inner "</h" level ">"
}
{ $0 = links($0) }
/^<table>/ { body = body "<div class=\"wide\" role=\"group\" aria-label=\"Table\" tabindex=\"0\">\n" }
{ sub(/^<pre>/, "<pre tabindex=\"0\">"); body = body $0 "\n" }
/^<\/table>/ { body = body "</div>\n" }

END {
  chapters()
  file = out "/" page_of(page)
  print "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n" \
    "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n" \
    "<title>" title " - Leanward handbook</title>\n" \
    "<link rel=\"stylesheet\" href=\"" up "handbook.css\">\n</head>\n<body>\n" \
    "<a class=\"skip\" href=\"#contents\">Contents</a>\n<main>\n" body > file
  if (here) print "<p class=\"steps\">" step(here - 1, "prev") step(here + 1, "next") "</p>" > file
  print "</main>\n" contents() "</body>\n</html>" > file
}
