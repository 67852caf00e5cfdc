# Spoils pictures of labels for tests/readers/degraded.rs: follows read.py in the same program. Every picture has two pixels a dot, as a camera
# sees more than one; the same seed spoils alike. Imitations by program: no print head, no paper, no lens is in them.
import re

from PIL import ImageDraw, ImageFilter

SCALE = 2
BORDER = 48  # White around the label, in pixels, so that what is turned stays inside.


def enlarged(picture):
    big = picture.resize((picture.width * SCALE, picture.height * SCALE), Image.Resampling.NEAREST)
    canvas = Image.new("L", (big.width + 2 * BORDER, big.height + 2 * BORDER), 255)
    canvas.paste(big, (BORDER, BORDER))
    return canvas


def of_array(values):
    return Image.fromarray(numpy.clip(numpy.rint(values), 0, 255).astype(numpy.uint8))


def blur(sigma):
    return lambda picture, more, chance: picture.filter(ImageFilter.GaussianBlur(sigma))


def noise(deviation):
    return lambda picture, more, chance: of_array(picture + chance.normal(0, deviation, (picture.height, picture.width)))


def turned(degrees):
    return lambda picture, more, chance: picture.rotate(
        degrees, Image.Resampling.BICUBIC, expand=True, fillcolor=255)


def contrast(low, high):
    return lambda picture, more, chance: of_array(low + numpy.asarray(picture) / 255.0 * (high - low))


def perspective(share):
    """One side of the picture falls away by this share of its length at each end, another for each picture."""
    def spoil(picture, more, chance):
        w, h = picture.size
        dx, dy = share / 2 * w, share / 2 * h
        corners = [
            [(dx, dy), (w, 0), (w, h), (dx, h - dy)],
            [(0, 0), (w - dx, dy), (w - dx, h - dy), (0, h)],
            [(dx, dy), (w - dx, dy), (w, h), (0, h)],
            [(0, 0), (w, 0), (w - dx, h - dy), (dx, h - dy)],
        ][chance.integers(4)]
        rows, values = [], []
        for (x, y), (u, v) in zip(corners, [(0, 0), (w, 0), (w, h), (0, h)]):
            rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
            values += [u, v]
        mapping = numpy.linalg.solve(numpy.array(rows, float), numpy.array(values, float))
        return picture.transform((w, h), Image.Transform.PERSPECTIVE, mapping, Image.Resampling.BICUBIC, fillcolor=255)
    return spoil


def symbol_of(more):
    """Where the modules lie on the enlarged picture, and the pixels of a module."""
    module = more["module"] * SCALE
    left, top, side = (BORDER + more["x"] * SCALE, BORDER + more["y"] * SCALE, more["modules"] * module)
    return left, top, side, module


def scratch(dots):
    """A white line across the symbol from side to side, as something sharp leaves on thermal paper."""
    def spoil(picture, more, chance):
        left, top, side, _ = symbol_of(more)
        one, other = chance.uniform(0.1, 0.9, 2) * side
        ends = [(left, top + one), (left + side, top + other)]
        if chance.integers(2):
            ends = [(left + one, top), (left + other, top + side)]
        picture = picture.copy()
        ImageDraw.Draw(picture).line(ends, fill=255, width=round(dots * SCALE))
        return picture
    return spoil


def dead_dots(count):
    """Columns of the print head that leave no black, all along the symbol."""
    def spoil(picture, more, chance):
        left, _, side, _ = symbol_of(more)
        dots = numpy.array(picture)
        for column in chance.choice(side // SCALE, count, replace=False):
            dots[:, left + column * SCALE:left + (column + 1) * SCALE] = 255
        return of_array(dots)
    return spoil


def covered(modules, grey):
    """A square of the symbol under a drop or a sticker, clear of the three finder patterns and of the format beside them."""
    def spoil(picture, more, chance):
        left, top, side, module = symbol_of(more)
        first = 9 * module
        x, y = (first + chance.integers(0, side - first - modules * module + 1, 2)).tolist()
        picture = picture.copy()
        size = modules * module
        ImageDraw.Draw(picture).rectangle((left + x, top + y, left + x + size - 1, top + y + size - 1), fill=grey)
        return picture
    return spoil


def dots_at_random(share):
    def spoil(picture, more, chance):
        dots = numpy.array(picture)
        shape = (picture.height // SCALE, picture.width // SCALE)
        hit = chance.random(shape) < share
        ink = numpy.where(chance.random(shape) < 0.5, 0, 255)
        large = lambda values: numpy.kron(values, numpy.ones((SCALE, SCALE), dtype=values.dtype))
        return of_array(numpy.where(large(hit.astype(numpy.uint8)) == 1, large(ink), dots))
    return spoil


def ink_spread(picture, more, chance):
    """Every black dot grows by half a dot on all sides."""
    return picture.filter(ImageFilter.MinFilter(3))


def falling_light(least):
    return lambda picture, more, chance: of_array(numpy.asarray(picture) * numpy.linspace(1, least, picture.width))


def one_after_another(*steps):
    def spoil(picture, more, chance):
        for step in steps:
            picture = step(picture, more, chance)
        return picture
    return spoil


MILD = {
    "as drawn": one_after_another(),
    "blur, sigma 0.5 pixel": blur(0.5),
    "blur, sigma 1 pixel": blur(1),
    "grey noise, deviation 20": noise(20),
    "turned by 5 degrees": turned(5),
    "turned by -5 degrees": turned(-5),
    "turned by 90 degrees": turned(90),
    "perspective, 5 %": perspective(0.05),
    "contrast 110 to 150 of 255": contrast(110, 150),
    "one scratch of 1 dot": scratch(1),
    "blur 0.5, noise 10, 3 degrees, perspective 3 %": one_after_another(
        turned(3), perspective(0.03), blur(0.5), noise(10)),
}

HARSH = {
    "blur, sigma 2 pixels": blur(2),
    "blur, sigma 3 pixels": blur(3),
    "blur, sigma 4 pixels": blur(4),
    "grey noise, deviation 60": noise(60),
    "grey noise, deviation 100": noise(100),
    "2 % of the dots black or white": dots_at_random(0.02),
    "5 % of the dots, then blur 2": one_after_another(dots_at_random(0.05), blur(2)),
    "turned by 30 degrees": turned(30),
    "turned by 45 degrees": turned(45),
    "perspective, 15 %": perspective(0.15),
    "perspective, 30 %": perspective(0.3),
    "contrast 120 to 140, noise 4": one_after_another(contrast(120, 140), noise(4)),
    "light falling to a third": falling_light(0.33),
    "ink spread by half a dot": ink_spread,
    "scratch of 1 module": scratch(4),
    "scratch of 2 modules": scratch(8),
    "3 dead dots": dead_dots(3),
    "3 dead dots, then blur 2": one_after_another(dead_dots(3), blur(2)),
    "8 x 8 modules white": covered(8, 255),
    "8 x 8 modules black": covered(8, 0),
    "12 x 12 modules white": covered(12, 255),
    "camera: contrast 60 to 200, 12 degrees, perspective 10 %, blur 2, noise 10": one_after_another(
        turned(12), perspective(0.1), blur(2), contrast(60, 200), noise(10)),
}


def spoil(question):
    """For each way of spoiling: set, name, texts by zxing-cpp, texts by zbar."""
    more = question["more"]
    picture = enlarged(picture_of(question))
    answer = []
    for number, (kind, name, step) in enumerate(
            [("mild", *row) for row in MILD.items()] + [("harsh", *row) for row in HARSH.items()]):
        if kind not in more["sets"]:
            continue
        chance = numpy.random.default_rng([more["seed"], number])
        spoiled = step(picture, more, chance)
        texts = [text for _, _, text in by_zxing(spoiled)], [text for _, text in by_zbar(spoiled)]
        answer.append([kind, name, *texts])
        if "keep" in more:
            plain = "-".join(re.findall(r"[\w.]+", name.replace("%", "percent")))
            spoiled.save(f"{more['keep']}/{kind}-{plain}.png")
    return answer
