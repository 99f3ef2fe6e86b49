"""256 plain words for pairing: short, apart in sound, and none that hurts in a hospital."""

_TEXT = """
acorn amber anchor anvil apple apron arch arrow aspen atlas autumn badge bagel baker bamboo barley barn basil basket
beacon beech bell bench berry birch bison blanket blossom bonfire bottle boulder bracket branch brass bread brick
bridge brook broom bucket butter button cabin cable camel candle canoe canvas canyon carpet carrot castle cedar
cellar chalk cherry chess chestnut chimney cider cinder circle clay cliff clock clover coast cobalt coffee comet
compass copper coral cork corner cotton cradle crane crater cricket crown crystal cupboard curtain daisy dapple
dolphin donkey dragon drum dune eagle echo elbow elder ember engine estuary fabric falcon feather fennel fern ferry
fiddle field finch flint flute forest fossil fountain fox frost galaxy garden garlic garnet gazelle ginger glacier
glove gold goose granite grape gravel guitar hammer harbour harvest hazel hedge heron hill honey horizon horse
island ivory ivy jacket jasmine jigsaw juniper kernel kettle kitchen kite ladder lagoon lake lantern larch laurel
lavender lemon lentil lilac linen lion lizard lobster lotus magnet mango maple marble meadow melon mill mint mirror
moss mountain mustard nectar needle nettle north nutmeg oak oasis oat ocean olive onion opal orange orchard otter
owl paddle palm panda paper parrot pasture path peach pear pebble pencil pepper petal piano pigeon pillow pine
planet plum pocket pond poplar poppy potato prairie prism pumpkin quail quartz quill rabbit radish raft rain raven
reed ribbon river robin rope rose rowan saddle sage sail salmon sand satin saucer scarf seal shell silver slate snow
sparrow spoon spruce stable star stone swan table thistle
"""

WORDS = tuple(_TEXT.split())
