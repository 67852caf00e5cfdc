# Where the demo listens, and the sign-in of the manager it printed:
BASE=${BASE:-http://127.0.0.1:8080}
NAME=${NAME:-Orla Venn}
PASSWORD=${PASSWORD:?the password the demo printed for the manager}

field() { sed -n "s/.*\"$1\":\"\([^\"]*\)\".*/\1/p"; }                # the last text field of that name
first() { grep -o "\"$1\":\"[^\"]*\"" | head -n 1 | cut -d'"' -f4; }   # the first one
post() { curl -sS -X POST "$BASE$1" -H "Authorization: Bearer $TOKEN" -H 'Content-Type: application/json' \
         -H "Idempotency-Key: $(cat /proc/sys/kernel/random/uuid)" -d "$2"; }
get() { curl -sS "$BASE$1" -H "Authorization: Bearer $TOKEN"; }

# Sign in.
TOKEN=$(curl -sS -X POST "$BASE/v1/sign-in" -H 'Content-Type: application/json' \
        -d "{\"name\":\"$NAME\",\"password\":\"$PASSWORD\"}" | field token)

# Receive: a yellowfin of 24.6 kg, inspected, on one bulk tray.
FISH=$(post /v1/lots '{
  "species_code":"YFT", "supplier_code":"morran-landings", "supplier_lot_code":"ML-2291",
  "received_g":24600, "cost_cents":39360, "pieces":1, "cut_code":"whole-fish", "place_code":"cold-room",
  "catch":{"production":"wild","area":"34","gear":"LHP","country":"Portugal","caught_from":"2026-11-20","caught_to":"2026-11-21"},
  "inspection":{"core_temperature_mc":700,"grade":2,"colour":2,"fat":3,"burn":"none","sample":"tail_cut","note":"bright, firm"}}')
echo "$FISH"
LOT=$(echo "$FISH" | first lot_code); TRAY=$(echo "$FISH" | field tray_code)

# Break down: the whole fish into loins and by-products; what is lost has a name.
LOINS=$(post /v1/breakdowns "{\"inputs\":[{\"tray_code\":\"$TRAY\"}], \"place_code\":\"bench\",
  \"outputs\":[{\"cut_code\":\"loin-back\",\"place_code\":\"cold-room\",\"net_weight_g\":8200},
               {\"cut_code\":\"loin-belly\",\"place_code\":\"cold-room\",\"net_weight_g\":5100},
               {\"cut_code\":\"collar\",\"place_code\":\"back-case\",\"net_weight_g\":640},
               {\"cut_code\":\"bones\",\"place_code\":\"back-case\",\"net_weight_g\":2900},
               {\"cut_code\":\"head\",\"place_code\":\"cold-room\",\"net_weight_g\":4100},
               {\"cut_code\":\"bloodline\",\"place_code\":\"cold-room\",\"net_weight_g\":1450},
               {\"cut_code\":\"skin\",\"place_code\":\"cold-room\",\"net_weight_g\":2000}],
  \"losses\":[{\"name\":\"drip\",\"grams\":110}]}")
LOIN=$(echo "$LOINS" | first tray_code)

# Part of a loin into blocks for one or two, and a tub of scrape.
BLOCKS=$(post /v1/breakdowns "{\"inputs\":[{\"tray_code\":\"$LOIN\",\"grams\":1500}], \"place_code\":\"bench\",
  \"outputs\":[{\"cut_code\":\"lean-yellowfin\",\"place_code\":\"front-case\",\"net_weight_g\":268},
               {\"cut_code\":\"lean-yellowfin\",\"place_code\":\"front-case\",\"net_weight_g\":310},
               {\"cut_code\":\"lean-yellowfin\",\"place_code\":\"front-case\",\"net_weight_g\":296},
               {\"cut_code\":\"scrape-yellowfin\",\"place_code\":\"front-case\",\"net_weight_g\":420}],
  \"losses\":[{\"name\":\"trim\",\"grams\":196}]}")
echo "$BLOCKS"
BLOCK=$(echo "$BLOCKS" | first tray_code)

# Label: fixes the use-by it promises; the picture is one bit a dot.
post "/v1/trays/$BLOCK/labels" '{}'; echo
curl -sS "$BASE/v1/trays/$BLOCK/label.png" -H "Authorization: Bearer $TOKEN" -o label.png

# Scan: what the QR says, or the code typed by hand.
curl -sS -X POST "$BASE/v1/scans" -H "Authorization: Bearer $TOKEN" -H 'Content-Type: application/json' -d "{\"text\":\"$BLOCK\"}"; echo

# Sell, and try to sell the same tray again.
post /v1/sales "{\"lines\":[{\"tray_code\":\"$BLOCK\"}]}"; echo
post /v1/sales "{\"lines\":[{\"tray_code\":\"$BLOCK\"}]}"; echo

# Pick: an order of four lean blocks, first to end first, kept for it from now on.
post /v1/pick-lists '{"purpose":"order","cut_code":"lean-bigeye","count":4,"note":"Ana, at five"}'; echo

# Review: what is best done now, cut by cut; accept the first advice. What it changes is decided once: a second time it is refused.
REVIEW=$(get /v1/review); echo "$REVIEW"
CUT=$(echo "$REVIEW" | first cut_code || true)
BASIS=$(echo "$REVIEW" | first basis || true)
[ -z "$BASIS" ] || post /v1/decisions "{\"decisions\":[{\"cut_code\":\"$CUT\",\"basis\":\"$BASIS\",\"way\":\"accepted\"}]}"; echo

# Where every gram of the fish is.
get "/v1/lots/$LOT"; echo

# What a logger says of the front case, as it exports it: sent again it changes nothing.
printf 'timestamp;temp (°C)\n%s;0,6\n%s;ERR\n' "$(date -u +%Y-%m-%dT%H:%M:00Z)" "$(date -u +%Y-%m-%dT%H:%M:30Z)" > front-case.csv
curl -sS -X POST "$BASE/v1/places/front-case/readings" -H "Authorization: Bearer $TOKEN" -H 'Content-Type: text/csv' --data-binary @front-case.csv; echo

# What the second block has lived through and which clock ends it; and what the day cost in the case.
BLOCK=$(echo "$BLOCKS" | grep -o '"tray_code":"[^"]*"' | cut -d'"' -f4 | sed -n 2p)
get "/v1/trays/$BLOCK/life"; echo
get /v1/places/front-case/life | cut -c1-400; echo
