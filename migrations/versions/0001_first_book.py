"""The first book: every kind of record, the journal, kept files and readings.

Written out in full, so that it stays what it was when the kinds change.
"""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql, sqlite

revision = "0001"
down_revision = None

WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
SMALL = sa.Integer()
WORDS = sa.Text()
REAL: sa.types.TypeEngine[float] = postgresql.DOUBLE_PRECISION().with_variant(sqlite.REAL(), "sqlite")
BYTES = postgresql.BYTEA().with_variant(sa.LargeBinary(), "sqlite")
DAY = sa.Date().with_variant(sa.Text(), "sqlite")
LIVE = sa.text("struck_at IS NULL")

SQLITE_GUARDS = (
    "CREATE TRIGGER entry_keeps BEFORE UPDATE ON \"entry\" BEGIN SELECT RAISE(ABORT, 'the journal and the kept files only grow'); END",
    "CREATE TRIGGER entry_stays BEFORE DELETE ON \"entry\" BEGIN SELECT RAISE(ABORT, 'the journal and the kept files only grow'); END",
    "CREATE TRIGGER tally_keeps BEFORE UPDATE ON \"tally\" BEGIN SELECT RAISE(ABORT, 'the journal and the kept files only grow'); END",
    "CREATE TRIGGER tally_stays BEFORE DELETE ON \"tally\" BEGIN SELECT RAISE(ABORT, 'the journal and the kept files only grow'); END",
    "CREATE TRIGGER reading_keeps BEFORE UPDATE ON \"reading\" BEGIN SELECT RAISE(ABORT, 'the journal and the kept files only grow'); END",
    "CREATE TRIGGER reading_stays BEFORE DELETE ON \"reading\" BEGIN SELECT RAISE(ABORT, 'the journal and the kept files only grow'); END",
    "CREATE TRIGGER tally_bytes_keeps BEFORE UPDATE ON \"tally_bytes\" BEGIN SELECT RAISE(ABORT, 'the journal and the kept files only grow'); END",
    "CREATE TRIGGER tally_bytes_stays BEFORE DELETE ON \"tally_bytes\" BEGIN SELECT RAISE(ABORT, 'the journal and the kept files only grow'); END",
    "CREATE TRIGGER reading_bytes_keeps BEFORE UPDATE ON \"reading_bytes\" BEGIN SELECT RAISE(ABORT, 'the journal and the kept files only grow'); END",
    "CREATE TRIGGER reading_bytes_stays BEFORE DELETE ON \"reading_bytes\" BEGIN SELECT RAISE(ABORT, 'the journal and the kept files only grow'); END",
    "CREATE TRIGGER entry_follows BEFORE INSERT ON \"entry\" WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM entry) OR NEW.previous_hash IS NOT coalesce((SELECT hash FROM entry WHERE number = NEW.number - 1), '0000000000000000000000000000000000000000000000000000000000000000') BEGIN SELECT RAISE(ABORT, 'an entry follows the newest one and holds its hash'); END",
    "CREATE TRIGGER tally_is_new BEFORE INSERT ON \"tally\" WHEN EXISTS (SELECT 1 FROM tally WHERE number = NEW.number) BEGIN SELECT RAISE(ABORT, 'the journal and the kept files only grow'); END",
    "CREATE TRIGGER reading_is_new BEFORE INSERT ON \"reading\" WHEN EXISTS (SELECT 1 FROM reading WHERE tally = NEW.tally) BEGIN SELECT RAISE(ABORT, 'the journal and the kept files only grow'); END",
    "CREATE TRIGGER tally_bytes_is_new BEFORE INSERT ON \"tally_bytes\" WHEN EXISTS (SELECT 1 FROM tally_bytes WHERE tally = NEW.tally AND part = NEW.part) BEGIN SELECT RAISE(ABORT, 'the journal and the kept files only grow'); END",
    "CREATE TRIGGER reading_bytes_is_new BEFORE INSERT ON \"reading_bytes\" WHEN EXISTS (SELECT 1 FROM reading_bytes WHERE tally = NEW.tally AND part = NEW.part) BEGIN SELECT RAISE(ABORT, 'the journal and the kept files only grow'); END",
    "CREATE TRIGGER vineyard_stays BEFORE DELETE ON \"vineyard\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER vineyard_keeps BEFORE UPDATE OF record, tally, line ON \"vineyard\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER block_stays BEFORE DELETE ON \"block\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER block_keeps BEFORE UPDATE OF record, tally, line ON \"block\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER predecessor_stays BEFORE DELETE ON \"predecessor\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER predecessor_keeps BEFORE UPDATE OF record, tally, line ON \"predecessor\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER row_stays BEFORE DELETE ON \"row\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER row_keeps BEFORE UPDATE OF record, tally, line ON \"row\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER planting_stays BEFORE DELETE ON \"planting\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER planting_keeps BEFORE UPDATE OF record, tally, line ON \"planting\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER vine_census_stays BEFORE DELETE ON \"vine_census\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER vine_census_keeps BEFORE UPDATE OF record, tally, line ON \"vine_census\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER training_stays BEFORE DELETE ON \"training\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER training_keeps BEFORE UPDATE OF record, tally, line ON \"training\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER target_band_stays BEFORE DELETE ON \"target_band\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER target_band_keeps BEFORE UPDATE OF record, tally, line ON \"target_band\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER certification_stays BEFORE DELETE ON \"certification\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER certification_keeps BEFORE UPDATE OF record, tally, line ON \"certification\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER consignee_stays BEFORE DELETE ON \"consignee\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER consignee_keeps BEFORE UPDATE OF record, tally, line ON \"consignee\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER silence_stays BEFORE DELETE ON \"silence\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER silence_keeps BEFORE UPDATE OF record, tally, line ON \"silence\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER sample_stays BEFORE DELETE ON \"sample\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER sample_keeps BEFORE UPDATE OF record, tally, line ON \"sample\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER bud_sample_stays BEFORE DELETE ON \"bud_sample\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER bud_sample_keeps BEFORE UPDATE OF record, tally, line ON \"bud_sample\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER decision_stays BEFORE DELETE ON \"decision\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER decision_keeps BEFORE UPDATE OF record, tally, line ON \"decision\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER pruning_visit_stays BEFORE DELETE ON \"pruning_visit\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER pruning_visit_keeps BEFORE UPDATE OF record, tally, line ON \"pruning_visit\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER pruned_vine_stays BEFORE DELETE ON \"pruned_vine\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER pruned_vine_keeps BEFORE UPDATE OF record, tally, line ON \"pruned_vine\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER bearer_stays BEFORE DELETE ON \"bearer\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER bearer_keeps BEFORE UPDATE OF record, tally, line ON \"bearer\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER growth_stage_stays BEFORE DELETE ON \"growth_stage\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER growth_stage_keeps BEFORE UPDATE OF record, tally, line ON \"growth_stage\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER canopy_work_stays BEFORE DELETE ON \"canopy_work\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER canopy_work_keeps BEFORE UPDATE OF record, tally, line ON \"canopy_work\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER shoot_tally_stays BEFORE DELETE ON \"shoot_tally\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER shoot_tally_keeps BEFORE UPDATE OF record, tally, line ON \"shoot_tally\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER node_tally_stays BEFORE DELETE ON \"node_tally\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER node_tally_keeps BEFORE UPDATE OF record, tally, line ON \"node_tally\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER cluster_tally_stays BEFORE DELETE ON \"cluster_tally\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER cluster_tally_keeps BEFORE UPDATE OF record, tally, line ON \"cluster_tally\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER cluster_lot_stays BEFORE DELETE ON \"cluster_lot\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER cluster_lot_keeps BEFORE UPDATE OF record, tally, line ON \"cluster_lot\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER canopy_probe_stays BEFORE DELETE ON \"canopy_probe\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER canopy_probe_keeps BEFORE UPDATE OF record, tally, line ON \"canopy_probe\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER leaf_area_stays BEFORE DELETE ON \"leaf_area\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER leaf_area_keeps BEFORE UPDATE OF record, tally, line ON \"leaf_area\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER maturity_sample_stays BEFORE DELETE ON \"maturity_sample\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER maturity_sample_keeps BEFORE UPDATE OF record, tally, line ON \"maturity_sample\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER crop_estimate_stays BEFORE DELETE ON \"crop_estimate\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER crop_estimate_keeps BEFORE UPDATE OF record, tally, line ON \"crop_estimate\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER vine_harvest_stays BEFORE DELETE ON \"vine_harvest\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER vine_harvest_keeps BEFORE UPDATE OF record, tally, line ON \"vine_harvest\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER load_stays BEFORE DELETE ON \"load\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER load_keeps BEFORE UPDATE OF record, tally, line ON \"load\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER load_part_stays BEFORE DELETE ON \"load_part\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER load_part_keeps BEFORE UPDATE OF record, tally, line ON \"load_part\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER harvest_close_stays BEFORE DELETE ON \"harvest_close\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER harvest_close_keeps BEFORE UPDATE OF record, tally, line ON \"harvest_close\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER event_stays BEFORE DELETE ON \"event\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER event_keeps BEFORE UPDATE OF record, tally, line ON \"event\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
)
POSTGRESQL_GUARDS = (
    "CREATE FUNCTION vinebook_refuse() RETURNS trigger LANGUAGE plpgsql AS $$BEGIN RAISE EXCEPTION '%', TG_ARGV[0]; END$$",
    "CREATE FUNCTION vinebook_follows() RETURNS trigger LANGUAGE plpgsql AS $$BEGIN IF NEW.number IS DISTINCT FROM (SELECT coalesce(max(number), 0) + 1 FROM entry) OR NEW.previous_hash IS DISTINCT FROM coalesce((SELECT hash FROM entry WHERE number = NEW.number - 1), '0000000000000000000000000000000000000000000000000000000000000000') THEN RAISE EXCEPTION 'an entry follows the newest one and holds its hash'; END IF; RETURN NEW; END$$",
    "CREATE TRIGGER entry_keeps BEFORE UPDATE ON \"entry\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('the journal and the kept files only grow')",
    'ALTER TABLE "entry" ENABLE ALWAYS TRIGGER entry_keeps',
    "CREATE TRIGGER entry_stays BEFORE DELETE ON \"entry\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('the journal and the kept files only grow')",
    'ALTER TABLE "entry" ENABLE ALWAYS TRIGGER entry_stays',
    "CREATE TRIGGER entry_is_kept BEFORE TRUNCATE ON \"entry\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('the journal and the kept files only grow')",
    'ALTER TABLE "entry" ENABLE ALWAYS TRIGGER entry_is_kept',
    "CREATE TRIGGER tally_keeps BEFORE UPDATE ON \"tally\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('the journal and the kept files only grow')",
    'ALTER TABLE "tally" ENABLE ALWAYS TRIGGER tally_keeps',
    "CREATE TRIGGER tally_stays BEFORE DELETE ON \"tally\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('the journal and the kept files only grow')",
    'ALTER TABLE "tally" ENABLE ALWAYS TRIGGER tally_stays',
    "CREATE TRIGGER tally_is_kept BEFORE TRUNCATE ON \"tally\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('the journal and the kept files only grow')",
    'ALTER TABLE "tally" ENABLE ALWAYS TRIGGER tally_is_kept',
    "CREATE TRIGGER reading_keeps BEFORE UPDATE ON \"reading\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('the journal and the kept files only grow')",
    'ALTER TABLE "reading" ENABLE ALWAYS TRIGGER reading_keeps',
    "CREATE TRIGGER reading_stays BEFORE DELETE ON \"reading\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('the journal and the kept files only grow')",
    'ALTER TABLE "reading" ENABLE ALWAYS TRIGGER reading_stays',
    "CREATE TRIGGER reading_is_kept BEFORE TRUNCATE ON \"reading\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('the journal and the kept files only grow')",
    'ALTER TABLE "reading" ENABLE ALWAYS TRIGGER reading_is_kept',
    "CREATE TRIGGER tally_bytes_keeps BEFORE UPDATE ON \"tally_bytes\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('the journal and the kept files only grow')",
    'ALTER TABLE "tally_bytes" ENABLE ALWAYS TRIGGER tally_bytes_keeps',
    "CREATE TRIGGER tally_bytes_stays BEFORE DELETE ON \"tally_bytes\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('the journal and the kept files only grow')",
    'ALTER TABLE "tally_bytes" ENABLE ALWAYS TRIGGER tally_bytes_stays',
    "CREATE TRIGGER tally_bytes_is_kept BEFORE TRUNCATE ON \"tally_bytes\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('the journal and the kept files only grow')",
    'ALTER TABLE "tally_bytes" ENABLE ALWAYS TRIGGER tally_bytes_is_kept',
    "CREATE TRIGGER reading_bytes_keeps BEFORE UPDATE ON \"reading_bytes\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('the journal and the kept files only grow')",
    'ALTER TABLE "reading_bytes" ENABLE ALWAYS TRIGGER reading_bytes_keeps',
    "CREATE TRIGGER reading_bytes_stays BEFORE DELETE ON \"reading_bytes\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('the journal and the kept files only grow')",
    'ALTER TABLE "reading_bytes" ENABLE ALWAYS TRIGGER reading_bytes_stays',
    "CREATE TRIGGER reading_bytes_is_kept BEFORE TRUNCATE ON \"reading_bytes\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('the journal and the kept files only grow')",
    'ALTER TABLE "reading_bytes" ENABLE ALWAYS TRIGGER reading_bytes_is_kept',
    "CREATE TRIGGER entry_follows BEFORE INSERT ON entry FOR EACH ROW EXECUTE FUNCTION vinebook_follows()",
    "ALTER TABLE entry ENABLE ALWAYS TRIGGER entry_follows",
    "CREATE TRIGGER vineyard_stays BEFORE DELETE ON \"vineyard\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "vineyard" ENABLE ALWAYS TRIGGER vineyard_stays',
    "CREATE TRIGGER vineyard_is_kept BEFORE TRUNCATE ON \"vineyard\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "vineyard" ENABLE ALWAYS TRIGGER vineyard_is_kept',
    "CREATE TRIGGER vineyard_keeps BEFORE UPDATE OF record, tally, line ON \"vineyard\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "vineyard" ENABLE ALWAYS TRIGGER vineyard_keeps',
    "CREATE TRIGGER block_stays BEFORE DELETE ON \"block\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "block" ENABLE ALWAYS TRIGGER block_stays',
    "CREATE TRIGGER block_is_kept BEFORE TRUNCATE ON \"block\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "block" ENABLE ALWAYS TRIGGER block_is_kept',
    "CREATE TRIGGER block_keeps BEFORE UPDATE OF record, tally, line ON \"block\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "block" ENABLE ALWAYS TRIGGER block_keeps',
    "CREATE TRIGGER predecessor_stays BEFORE DELETE ON \"predecessor\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "predecessor" ENABLE ALWAYS TRIGGER predecessor_stays',
    "CREATE TRIGGER predecessor_is_kept BEFORE TRUNCATE ON \"predecessor\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "predecessor" ENABLE ALWAYS TRIGGER predecessor_is_kept',
    "CREATE TRIGGER predecessor_keeps BEFORE UPDATE OF record, tally, line ON \"predecessor\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "predecessor" ENABLE ALWAYS TRIGGER predecessor_keeps',
    "CREATE TRIGGER row_stays BEFORE DELETE ON \"row\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "row" ENABLE ALWAYS TRIGGER row_stays',
    "CREATE TRIGGER row_is_kept BEFORE TRUNCATE ON \"row\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "row" ENABLE ALWAYS TRIGGER row_is_kept',
    "CREATE TRIGGER row_keeps BEFORE UPDATE OF record, tally, line ON \"row\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "row" ENABLE ALWAYS TRIGGER row_keeps',
    "CREATE TRIGGER planting_stays BEFORE DELETE ON \"planting\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "planting" ENABLE ALWAYS TRIGGER planting_stays',
    "CREATE TRIGGER planting_is_kept BEFORE TRUNCATE ON \"planting\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "planting" ENABLE ALWAYS TRIGGER planting_is_kept',
    "CREATE TRIGGER planting_keeps BEFORE UPDATE OF record, tally, line ON \"planting\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "planting" ENABLE ALWAYS TRIGGER planting_keeps',
    "CREATE TRIGGER vine_census_stays BEFORE DELETE ON \"vine_census\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "vine_census" ENABLE ALWAYS TRIGGER vine_census_stays',
    "CREATE TRIGGER vine_census_is_kept BEFORE TRUNCATE ON \"vine_census\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "vine_census" ENABLE ALWAYS TRIGGER vine_census_is_kept',
    "CREATE TRIGGER vine_census_keeps BEFORE UPDATE OF record, tally, line ON \"vine_census\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "vine_census" ENABLE ALWAYS TRIGGER vine_census_keeps',
    "CREATE TRIGGER training_stays BEFORE DELETE ON \"training\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "training" ENABLE ALWAYS TRIGGER training_stays',
    "CREATE TRIGGER training_is_kept BEFORE TRUNCATE ON \"training\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "training" ENABLE ALWAYS TRIGGER training_is_kept',
    "CREATE TRIGGER training_keeps BEFORE UPDATE OF record, tally, line ON \"training\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "training" ENABLE ALWAYS TRIGGER training_keeps',
    "CREATE TRIGGER target_band_stays BEFORE DELETE ON \"target_band\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "target_band" ENABLE ALWAYS TRIGGER target_band_stays',
    "CREATE TRIGGER target_band_is_kept BEFORE TRUNCATE ON \"target_band\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "target_band" ENABLE ALWAYS TRIGGER target_band_is_kept',
    "CREATE TRIGGER target_band_keeps BEFORE UPDATE OF record, tally, line ON \"target_band\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "target_band" ENABLE ALWAYS TRIGGER target_band_keeps',
    "CREATE TRIGGER certification_stays BEFORE DELETE ON \"certification\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "certification" ENABLE ALWAYS TRIGGER certification_stays',
    "CREATE TRIGGER certification_is_kept BEFORE TRUNCATE ON \"certification\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "certification" ENABLE ALWAYS TRIGGER certification_is_kept',
    "CREATE TRIGGER certification_keeps BEFORE UPDATE OF record, tally, line ON \"certification\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "certification" ENABLE ALWAYS TRIGGER certification_keeps',
    "CREATE TRIGGER consignee_stays BEFORE DELETE ON \"consignee\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "consignee" ENABLE ALWAYS TRIGGER consignee_stays',
    "CREATE TRIGGER consignee_is_kept BEFORE TRUNCATE ON \"consignee\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "consignee" ENABLE ALWAYS TRIGGER consignee_is_kept',
    "CREATE TRIGGER consignee_keeps BEFORE UPDATE OF record, tally, line ON \"consignee\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "consignee" ENABLE ALWAYS TRIGGER consignee_keeps',
    "CREATE TRIGGER silence_stays BEFORE DELETE ON \"silence\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "silence" ENABLE ALWAYS TRIGGER silence_stays',
    "CREATE TRIGGER silence_is_kept BEFORE TRUNCATE ON \"silence\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "silence" ENABLE ALWAYS TRIGGER silence_is_kept',
    "CREATE TRIGGER silence_keeps BEFORE UPDATE OF record, tally, line ON \"silence\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "silence" ENABLE ALWAYS TRIGGER silence_keeps',
    "CREATE TRIGGER sample_stays BEFORE DELETE ON \"sample\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "sample" ENABLE ALWAYS TRIGGER sample_stays',
    "CREATE TRIGGER sample_is_kept BEFORE TRUNCATE ON \"sample\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "sample" ENABLE ALWAYS TRIGGER sample_is_kept',
    "CREATE TRIGGER sample_keeps BEFORE UPDATE OF record, tally, line ON \"sample\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "sample" ENABLE ALWAYS TRIGGER sample_keeps',
    "CREATE TRIGGER bud_sample_stays BEFORE DELETE ON \"bud_sample\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "bud_sample" ENABLE ALWAYS TRIGGER bud_sample_stays',
    "CREATE TRIGGER bud_sample_is_kept BEFORE TRUNCATE ON \"bud_sample\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "bud_sample" ENABLE ALWAYS TRIGGER bud_sample_is_kept',
    "CREATE TRIGGER bud_sample_keeps BEFORE UPDATE OF record, tally, line ON \"bud_sample\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "bud_sample" ENABLE ALWAYS TRIGGER bud_sample_keeps',
    "CREATE TRIGGER decision_stays BEFORE DELETE ON \"decision\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "decision" ENABLE ALWAYS TRIGGER decision_stays',
    "CREATE TRIGGER decision_is_kept BEFORE TRUNCATE ON \"decision\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "decision" ENABLE ALWAYS TRIGGER decision_is_kept',
    "CREATE TRIGGER decision_keeps BEFORE UPDATE OF record, tally, line ON \"decision\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "decision" ENABLE ALWAYS TRIGGER decision_keeps',
    "CREATE TRIGGER pruning_visit_stays BEFORE DELETE ON \"pruning_visit\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "pruning_visit" ENABLE ALWAYS TRIGGER pruning_visit_stays',
    "CREATE TRIGGER pruning_visit_is_kept BEFORE TRUNCATE ON \"pruning_visit\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "pruning_visit" ENABLE ALWAYS TRIGGER pruning_visit_is_kept',
    "CREATE TRIGGER pruning_visit_keeps BEFORE UPDATE OF record, tally, line ON \"pruning_visit\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "pruning_visit" ENABLE ALWAYS TRIGGER pruning_visit_keeps',
    "CREATE TRIGGER pruned_vine_stays BEFORE DELETE ON \"pruned_vine\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "pruned_vine" ENABLE ALWAYS TRIGGER pruned_vine_stays',
    "CREATE TRIGGER pruned_vine_is_kept BEFORE TRUNCATE ON \"pruned_vine\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "pruned_vine" ENABLE ALWAYS TRIGGER pruned_vine_is_kept',
    "CREATE TRIGGER pruned_vine_keeps BEFORE UPDATE OF record, tally, line ON \"pruned_vine\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "pruned_vine" ENABLE ALWAYS TRIGGER pruned_vine_keeps',
    "CREATE TRIGGER bearer_stays BEFORE DELETE ON \"bearer\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "bearer" ENABLE ALWAYS TRIGGER bearer_stays',
    "CREATE TRIGGER bearer_is_kept BEFORE TRUNCATE ON \"bearer\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "bearer" ENABLE ALWAYS TRIGGER bearer_is_kept',
    "CREATE TRIGGER bearer_keeps BEFORE UPDATE OF record, tally, line ON \"bearer\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "bearer" ENABLE ALWAYS TRIGGER bearer_keeps',
    "CREATE TRIGGER growth_stage_stays BEFORE DELETE ON \"growth_stage\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "growth_stage" ENABLE ALWAYS TRIGGER growth_stage_stays',
    "CREATE TRIGGER growth_stage_is_kept BEFORE TRUNCATE ON \"growth_stage\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "growth_stage" ENABLE ALWAYS TRIGGER growth_stage_is_kept',
    "CREATE TRIGGER growth_stage_keeps BEFORE UPDATE OF record, tally, line ON \"growth_stage\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "growth_stage" ENABLE ALWAYS TRIGGER growth_stage_keeps',
    "CREATE TRIGGER canopy_work_stays BEFORE DELETE ON \"canopy_work\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "canopy_work" ENABLE ALWAYS TRIGGER canopy_work_stays',
    "CREATE TRIGGER canopy_work_is_kept BEFORE TRUNCATE ON \"canopy_work\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "canopy_work" ENABLE ALWAYS TRIGGER canopy_work_is_kept',
    "CREATE TRIGGER canopy_work_keeps BEFORE UPDATE OF record, tally, line ON \"canopy_work\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "canopy_work" ENABLE ALWAYS TRIGGER canopy_work_keeps',
    "CREATE TRIGGER shoot_tally_stays BEFORE DELETE ON \"shoot_tally\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "shoot_tally" ENABLE ALWAYS TRIGGER shoot_tally_stays',
    "CREATE TRIGGER shoot_tally_is_kept BEFORE TRUNCATE ON \"shoot_tally\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "shoot_tally" ENABLE ALWAYS TRIGGER shoot_tally_is_kept',
    "CREATE TRIGGER shoot_tally_keeps BEFORE UPDATE OF record, tally, line ON \"shoot_tally\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "shoot_tally" ENABLE ALWAYS TRIGGER shoot_tally_keeps',
    "CREATE TRIGGER node_tally_stays BEFORE DELETE ON \"node_tally\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "node_tally" ENABLE ALWAYS TRIGGER node_tally_stays',
    "CREATE TRIGGER node_tally_is_kept BEFORE TRUNCATE ON \"node_tally\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "node_tally" ENABLE ALWAYS TRIGGER node_tally_is_kept',
    "CREATE TRIGGER node_tally_keeps BEFORE UPDATE OF record, tally, line ON \"node_tally\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "node_tally" ENABLE ALWAYS TRIGGER node_tally_keeps',
    "CREATE TRIGGER cluster_tally_stays BEFORE DELETE ON \"cluster_tally\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "cluster_tally" ENABLE ALWAYS TRIGGER cluster_tally_stays',
    "CREATE TRIGGER cluster_tally_is_kept BEFORE TRUNCATE ON \"cluster_tally\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "cluster_tally" ENABLE ALWAYS TRIGGER cluster_tally_is_kept',
    "CREATE TRIGGER cluster_tally_keeps BEFORE UPDATE OF record, tally, line ON \"cluster_tally\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "cluster_tally" ENABLE ALWAYS TRIGGER cluster_tally_keeps',
    "CREATE TRIGGER cluster_lot_stays BEFORE DELETE ON \"cluster_lot\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "cluster_lot" ENABLE ALWAYS TRIGGER cluster_lot_stays',
    "CREATE TRIGGER cluster_lot_is_kept BEFORE TRUNCATE ON \"cluster_lot\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "cluster_lot" ENABLE ALWAYS TRIGGER cluster_lot_is_kept',
    "CREATE TRIGGER cluster_lot_keeps BEFORE UPDATE OF record, tally, line ON \"cluster_lot\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "cluster_lot" ENABLE ALWAYS TRIGGER cluster_lot_keeps',
    "CREATE TRIGGER canopy_probe_stays BEFORE DELETE ON \"canopy_probe\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "canopy_probe" ENABLE ALWAYS TRIGGER canopy_probe_stays',
    "CREATE TRIGGER canopy_probe_is_kept BEFORE TRUNCATE ON \"canopy_probe\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "canopy_probe" ENABLE ALWAYS TRIGGER canopy_probe_is_kept',
    "CREATE TRIGGER canopy_probe_keeps BEFORE UPDATE OF record, tally, line ON \"canopy_probe\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "canopy_probe" ENABLE ALWAYS TRIGGER canopy_probe_keeps',
    "CREATE TRIGGER leaf_area_stays BEFORE DELETE ON \"leaf_area\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "leaf_area" ENABLE ALWAYS TRIGGER leaf_area_stays',
    "CREATE TRIGGER leaf_area_is_kept BEFORE TRUNCATE ON \"leaf_area\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "leaf_area" ENABLE ALWAYS TRIGGER leaf_area_is_kept',
    "CREATE TRIGGER leaf_area_keeps BEFORE UPDATE OF record, tally, line ON \"leaf_area\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "leaf_area" ENABLE ALWAYS TRIGGER leaf_area_keeps',
    "CREATE TRIGGER maturity_sample_stays BEFORE DELETE ON \"maturity_sample\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "maturity_sample" ENABLE ALWAYS TRIGGER maturity_sample_stays',
    "CREATE TRIGGER maturity_sample_is_kept BEFORE TRUNCATE ON \"maturity_sample\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "maturity_sample" ENABLE ALWAYS TRIGGER maturity_sample_is_kept',
    "CREATE TRIGGER maturity_sample_keeps BEFORE UPDATE OF record, tally, line ON \"maturity_sample\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "maturity_sample" ENABLE ALWAYS TRIGGER maturity_sample_keeps',
    "CREATE TRIGGER crop_estimate_stays BEFORE DELETE ON \"crop_estimate\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "crop_estimate" ENABLE ALWAYS TRIGGER crop_estimate_stays',
    "CREATE TRIGGER crop_estimate_is_kept BEFORE TRUNCATE ON \"crop_estimate\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "crop_estimate" ENABLE ALWAYS TRIGGER crop_estimate_is_kept',
    "CREATE TRIGGER crop_estimate_keeps BEFORE UPDATE OF record, tally, line ON \"crop_estimate\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "crop_estimate" ENABLE ALWAYS TRIGGER crop_estimate_keeps',
    "CREATE TRIGGER vine_harvest_stays BEFORE DELETE ON \"vine_harvest\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "vine_harvest" ENABLE ALWAYS TRIGGER vine_harvest_stays',
    "CREATE TRIGGER vine_harvest_is_kept BEFORE TRUNCATE ON \"vine_harvest\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "vine_harvest" ENABLE ALWAYS TRIGGER vine_harvest_is_kept',
    "CREATE TRIGGER vine_harvest_keeps BEFORE UPDATE OF record, tally, line ON \"vine_harvest\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "vine_harvest" ENABLE ALWAYS TRIGGER vine_harvest_keeps',
    "CREATE TRIGGER load_stays BEFORE DELETE ON \"load\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "load" ENABLE ALWAYS TRIGGER load_stays',
    "CREATE TRIGGER load_is_kept BEFORE TRUNCATE ON \"load\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "load" ENABLE ALWAYS TRIGGER load_is_kept',
    "CREATE TRIGGER load_keeps BEFORE UPDATE OF record, tally, line ON \"load\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "load" ENABLE ALWAYS TRIGGER load_keeps',
    "CREATE TRIGGER load_part_stays BEFORE DELETE ON \"load_part\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "load_part" ENABLE ALWAYS TRIGGER load_part_stays',
    "CREATE TRIGGER load_part_is_kept BEFORE TRUNCATE ON \"load_part\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "load_part" ENABLE ALWAYS TRIGGER load_part_is_kept',
    "CREATE TRIGGER load_part_keeps BEFORE UPDATE OF record, tally, line ON \"load_part\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "load_part" ENABLE ALWAYS TRIGGER load_part_keeps',
    "CREATE TRIGGER harvest_close_stays BEFORE DELETE ON \"harvest_close\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "harvest_close" ENABLE ALWAYS TRIGGER harvest_close_stays',
    "CREATE TRIGGER harvest_close_is_kept BEFORE TRUNCATE ON \"harvest_close\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "harvest_close" ENABLE ALWAYS TRIGGER harvest_close_is_kept',
    "CREATE TRIGGER harvest_close_keeps BEFORE UPDATE OF record, tally, line ON \"harvest_close\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "harvest_close" ENABLE ALWAYS TRIGGER harvest_close_keeps',
    "CREATE TRIGGER event_stays BEFORE DELETE ON \"event\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "event" ENABLE ALWAYS TRIGGER event_stays',
    "CREATE TRIGGER event_is_kept BEFORE TRUNCATE ON \"event\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "event" ENABLE ALWAYS TRIGGER event_is_kept',
    "CREATE TRIGGER event_keeps BEFORE UPDATE OF record, tally, line ON \"event\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "event" ENABLE ALWAYS TRIGGER event_keeps',
)


def upgrade() -> None:
    """Make the tables, their indexes and their guards."""
    _tables()
    _indexes()
    guards = POSTGRESQL_GUARDS if op.get_bind().dialect.name == "postgresql" else SQLITE_GUARDS
    for guard in guards:
        op.execute(sa.text(guard))


def _tables() -> None:
    op.create_table(
        "book",
        sa.Column("one", SMALL, autoincrement=False, nullable=False, comment="always 1: a book is one"),
        sa.Column("made_at", WORDS, nullable=False, comment="UTC time at which the book was made"),
        sa.Column("next_record", WHOLE, nullable=False, comment="the next book-wide permanent number"),
        sa.Column("next_tally", WHOLE, nullable=False, comment="the next number of a kept file"),
        sa.PrimaryKeyConstraint("one", name=op.f("pk_book")),
        sa.CheckConstraint("one = 1", name=op.f("ck_book_is_one")),
        sa.CheckConstraint("next_record > 0 AND next_tally > 0", name=op.f("ck_book_counts_on")),
        sqlite_strict=True,
    )
    op.create_table(
        "entry",
        sa.Column("number", WHOLE, autoincrement=False, nullable=False, comment="1, 2, 3, … without a gap"),
        sa.Column("at", WORDS, nullable=False, comment="UTC time by this machine's clock"),
        sa.Column("by", WORDS, nullable=False, comment="who acted, as they named themselves"),
        sa.Column("db_user", WORDS, nullable=False, comment="the database's own word for who wrote"),
        sa.Column("action", WORDS, nullable=False, comment="new, load, upgrade, …"),
        sa.Column("subject", WORDS, nullable=False, comment="what was acted on: permanent number and key"),
        sa.Column("body", WORDS, nullable=False, comment="JSON, hashed as stored"),
        sa.Column("previous_hash", WORDS, nullable=False, comment="hash of the entry before, zeros for the first"),
        sa.Column("hash", WORDS, nullable=False, comment="SHA-256 over the lines of this entry"),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_entry")),
        sa.CheckConstraint("length(hash) = 64 AND length(previous_hash) = 64", name=op.f("ck_entry_hash_is_sha256")),
        sqlite_strict=True,
    )
    op.create_table(
        "tally",
        sa.Column("number", WHOLE, autoincrement=False, nullable=False, comment="number of the kept file"),
        sa.Column("name", WORDS, nullable=False, comment="name of the file as it was given"),
        sa.Column("kind", WORDS, nullable=False, comment="kind of record it holds"),
        sa.Column("source", WORDS, nullable=False, comment="file, or typed for a record entered by hand"),
        sa.Column("size", WHOLE, nullable=False, comment="bytes"),
        sa.Column("sha256", WORDS, nullable=False, comment="SHA-256 of the bytes"),
        sa.Column("at", WORDS, nullable=False, comment="UTC time at which it was loaded"),
        sa.Column("by", WORDS, nullable=False, comment="who entered it"),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_tally")),
        sa.CheckConstraint("source IN ('file', 'typed')", name=op.f("ck_tally_source_is_known")),
        sqlite_strict=True,
    )
    op.create_table(
        "reading",
        sa.Column("tally", WHOLE, autoincrement=False, nullable=False),
        sa.Column("reader", SMALL, nullable=False, comment="number of the reader that read the file"),
        sa.Column("sha256", WORDS, nullable=False, comment="SHA-256 of the reading"),
        sa.Column("rows", WHOLE, nullable=False, comment="rows of the tally, its samples not counted"),
        sa.Column("samples", WHOLE, nullable=False, comment="samples that came with it"),
        sa.Column("first_record", WHOLE, nullable=False, comment="first permanent number of its records"),
        sa.Column("last_record", WHOLE, nullable=False, comment="last permanent number of its records"),
        sa.PrimaryKeyConstraint("tally", name=op.f("pk_reading")),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_reading_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "tally_bytes",
        sa.Column("tally", WHOLE, nullable=False),
        sa.Column("part", SMALL, nullable=False, comment="0, 1, 2, … in order"),
        sa.Column("bytes", BYTES, nullable=False, comment="bytes of the file, as they came"),
        sa.PrimaryKeyConstraint("tally", "part", name=op.f("pk_tally_bytes")),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_tally_bytes_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "reading_bytes",
        sa.Column("tally", WHOLE, nullable=False),
        sa.Column("part", SMALL, nullable=False, comment="0, 1, 2, … in order"),
        sa.Column("bytes", BYTES, nullable=False, comment="bytes of the reading"),
        sa.PrimaryKeyConstraint("tally", "part", name=op.f("pk_reading_bytes")),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_reading_bytes_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "vineyard",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("name", WORDS, nullable=False, comment="Name of the vineyard, as it should stand on reports."),
        sa.Column("hemisphere", WORDS, nullable=False, comment="Fixes which year a date belongs to."),
        sa.Column("place", WORDS, nullable=True, comment="Where it is, in words."),
        sa.Column("units", WORDS, nullable=False, comment="Units of a bare number in this vineyard's tallies."),
        sa.Column("time_zone", WORDS, nullable=True, comment="Time zone, such as Etc/UTC."),
        sa.Column("grower", WORDS, nullable=True, comment="Name of the grower."),
        sa.Column("address", WORDS, nullable=True, comment="Address of the grower."),
        sa.Column("register_numbers", WORDS, nullable=True, comment="Numbers in official registers."),
        sa.Column(
            "geographical_indication", WORDS, nullable=True, comment="Geographical indication that the fruit may claim."
        ),
        sa.Column("keep_years", WHOLE, nullable=True, comment="Years that records must be kept."),
        sa.Column(
            "band_set",
            WORDS,
            nullable=True,
            comment="Name of the published set of bands to judge by; empty takes the default set.",
        ),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_vineyard")),
        sa.CheckConstraint("\"hemisphere\" IN ('north', 'south')", name=op.f("ck_vineyard_hemisphere_is_known")),
        sa.CheckConstraint("\"units\" IN ('metric', 'us')", name=op.f("ck_vineyard_units_is_known")),
        sa.CheckConstraint(
            '"keep_years" >= 0 AND "keep_years" <= 200', name=op.f("ck_vineyard_keep_years_is_possible")
        ),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_vineyard_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "block",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("vineyard", WHOLE, nullable=False, comment="Vineyard that the block belongs to."),
        sa.Column("code", WORDS, nullable=False, comment="Short code, unique in the book; it never changes."),
        sa.Column("name", WORDS, nullable=True, comment="Name of the block in words."),
        sa.Column(
            "row_direction_degrees", REAL, nullable=True, comment="Compass direction of the rows, 0 is north to south."
        ),
        sa.Column("surveyed_area_ha", REAL, nullable=True, comment="Area by survey, kept beside the planted area."),
        sa.Column("from_season", SMALL, nullable=False, comment="First season of the block under this code."),
        sa.Column("to_season", SMALL, nullable=True, comment="Last season; empty while the block stands."),
        sa.Column("field_blend", WORDS, nullable=True, comment="Of a field blend: the cultivars with their shares."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_block")),
        sa.CheckConstraint(
            '"row_direction_degrees" >= 0 AND "row_direction_degrees" <= 360',
            name=op.f("ck_block_row_direction_degrees_is_possible"),
        ),
        sa.CheckConstraint('"surveyed_area_ha" >= 0', name=op.f("ck_block_surveyed_area_ha_is_possible")),
        sa.CheckConstraint(
            '"from_season" >= 1800 AND "from_season" <= 2200', name=op.f("ck_block_from_season_is_possible")
        ),
        sa.CheckConstraint('"to_season" >= 1800 AND "to_season" <= 2200', name=op.f("ck_block_to_season_is_possible")),
        sa.ForeignKeyConstraint(["vineyard"], ["vineyard.record"], name=op.f("fk_block_vineyard"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_block_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "predecessor",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="The later block."),
        sa.Column("predecessor", WHOLE, nullable=False, comment="The earlier block."),
        sa.Column("how", WORDS, nullable=False, comment="How the earlier block became the later one."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_predecessor")),
        sa.CheckConstraint(
            "\"how\" IN ('split', 'merger', 'renaming', 'replant')", name=op.f("ck_predecessor_how_is_known")
        ),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_predecessor_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["predecessor"], ["block.record"], name=op.f("fk_predecessor_predecessor"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_predecessor_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "row",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="Block that the rows belong to."),
        sa.Column("from_season", SMALL, nullable=False, comment="First season of this layout."),
        sa.Column(
            "first_row",
            WHOLE,
            nullable=False,
            comment="Number of the row, or of the first row of a range of equal rows.",
        ),
        sa.Column("last_row", WHOLE, nullable=True, comment="Last row of the range; empty for one row."),
        sa.Column("positions", WHOLE, nullable=False, comment="Vine positions in each row, empty places included."),
        sa.Column("numbered_from", WORDS, nullable=True, comment="End of the row from which vines are numbered."),
        sa.Column("vines_per_panel", WHOLE, nullable=True, comment="Vine positions between two posts."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_row")),
        sa.CheckConstraint(
            '"from_season" >= 1800 AND "from_season" <= 2200', name=op.f("ck_row_from_season_is_possible")
        ),
        sa.CheckConstraint('"first_row" >= 1', name=op.f("ck_row_first_row_is_possible")),
        sa.CheckConstraint('"last_row" >= 1', name=op.f("ck_row_last_row_is_possible")),
        sa.CheckConstraint('"positions" >= 1', name=op.f("ck_row_positions_is_possible")),
        sa.CheckConstraint('"vines_per_panel" >= 1', name=op.f("ck_row_vines_per_panel_is_possible")),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_row_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_row_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "planting",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="Block."),
        sa.Column("from_season", SMALL, nullable=False, comment="First season in which this planting stands."),
        sa.Column("cultivar", WORDS, nullable=False, comment="Cultivar."),
        sa.Column("clone", WORDS, nullable=True, comment="Clone or clones."),
        sa.Column("rootstock", WORDS, nullable=True, comment="Rootstock or rootstocks; own roots if none."),
        sa.Column("year_planted", SMALL, nullable=True, comment="Year planted."),
        sa.Column("grafted_over_in", SMALL, nullable=True, comment="Year grafted over, if it was."),
        sa.Column("row_spacing_m", REAL, nullable=False, comment="Distance between rows."),
        sa.Column("vine_spacing_m", REAL, nullable=False, comment="Distance between vines in the row."),
        sa.Column("positions", WHOLE, nullable=False, comment="Vine positions planted, all rows together."),
        sa.Column("to_season", SMALL, nullable=True, comment="Last season; empty while it stands."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_planting")),
        sa.CheckConstraint(
            '"from_season" >= 1800 AND "from_season" <= 2200', name=op.f("ck_planting_from_season_is_possible")
        ),
        sa.CheckConstraint(
            '"year_planted" >= 1800 AND "year_planted" <= 2200', name=op.f("ck_planting_year_planted_is_possible")
        ),
        sa.CheckConstraint(
            '"grafted_over_in" >= 1800 AND "grafted_over_in" <= 2200',
            name=op.f("ck_planting_grafted_over_in_is_possible"),
        ),
        sa.CheckConstraint('"row_spacing_m" >= 0.2', name=op.f("ck_planting_row_spacing_m_is_possible")),
        sa.CheckConstraint('"vine_spacing_m" >= 0.1', name=op.f("ck_planting_vine_spacing_m_is_possible")),
        sa.CheckConstraint('"positions" >= 1', name=op.f("ck_planting_positions_is_possible")),
        sa.CheckConstraint(
            '"to_season" >= 1800 AND "to_season" <= 2200', name=op.f("ck_planting_to_season_is_possible")
        ),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_planting_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_planting_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "vine_census",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="Block."),
        sa.Column("date", DAY, nullable=False, comment="Date of the count."),
        sa.Column("part", WORDS, nullable=False, comment="Part of the block (stratum); empty for the whole block."),
        sa.Column(
            "row",
            WHOLE,
            nullable=False,
            comment="Number of the counted row; empty where the line is the whole block or part.",
        ),
        sa.Column("counted", WORDS, nullable=False, comment="Whether all rows were counted, or sampled ones."),
        sa.Column("bearing", WHOLE, nullable=False, comment="Vines that bear."),
        sa.Column(
            "young",
            WHOLE,
            nullable=False,
            comment="Vines that do not crop at present: replanted, interplanted, retrained, grafted.",
        ),
        sa.Column("missing", WHOLE, nullable=False, comment="Places empty or vines dead."),
        sa.Column("positions", WHOLE, nullable=True, comment="Places in all; empty takes the sum of the three."),
        sa.Column("counted_by", WORDS, nullable=True, comment="Who counted; initials or a number will do."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_vine_census")),
        sa.CheckConstraint('"row" >= 0', name=op.f("ck_vine_census_row_is_possible")),
        sa.CheckConstraint("\"counted\" IN ('full', 'sampled_rows')", name=op.f("ck_vine_census_counted_is_known")),
        sa.CheckConstraint('"bearing" >= 0', name=op.f("ck_vine_census_bearing_is_possible")),
        sa.CheckConstraint('"young" >= 0', name=op.f("ck_vine_census_young_is_possible")),
        sa.CheckConstraint('"missing" >= 0', name=op.f("ck_vine_census_missing_is_possible")),
        sa.CheckConstraint('"positions" >= 0', name=op.f("ck_vine_census_positions_is_possible")),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_vine_census_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_vine_census_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "training",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="Block."),
        sa.Column("from_season", SMALL, nullable=False, comment="First season of this training."),
        sa.Column("trained", WORDS, nullable=False, comment="Head-trained or cordon-trained."),
        sa.Column("arms", WHOLE, nullable=True, comment="Arms of a vine."),
        sa.Column(
            "curtains", WHOLE, nullable=False, comment="Curtains of canopy along the row; a divided canopy has two."
        ),
        sa.Column("shoot_position", WORDS, nullable=True, comment="Which way shoots are placed."),
        sa.Column("cordon_length_m", REAL, nullable=True, comment="Cordon of one vine, all arms together."),
        sa.Column("wire_height_m", REAL, nullable=True, comment="Height of the fruiting wire."),
        sa.Column("pruned", WORDS, nullable=False, comment="How one-year-old wood is cut."),
        sa.Column("trade_name", WORDS, nullable=True, comment="Trade name of the system, in words."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_training")),
        sa.CheckConstraint(
            '"from_season" >= 1800 AND "from_season" <= 2200', name=op.f("ck_training_from_season_is_possible")
        ),
        sa.CheckConstraint("\"trained\" IN ('head', 'cordon')", name=op.f("ck_training_trained_is_known")),
        sa.CheckConstraint('"arms" >= 0', name=op.f("ck_training_arms_is_possible")),
        sa.CheckConstraint('"curtains" >= 1 AND "curtains" <= 8', name=op.f("ck_training_curtains_is_possible")),
        sa.CheckConstraint(
            "\"shoot_position\" IN ('up', 'down', 'both', 'free')", name=op.f("ck_training_shoot_position_is_known")
        ),
        sa.CheckConstraint('"cordon_length_m" >= 0', name=op.f("ck_training_cordon_length_m_is_possible")),
        sa.CheckConstraint('"wire_height_m" >= 0', name=op.f("ck_training_wire_height_m_is_possible")),
        sa.CheckConstraint(
            "\"pruned\" IN ('spur', 'cane', 'mixed', 'minimal')", name=op.f("ck_training_pruned_is_known")
        ),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_training_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_training_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "target_band",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column(
            "vineyard", WHOLE, nullable=True, comment="Vineyard that the band is for; empty where a block is named."
        ),
        sa.Column(
            "block", WHOLE, nullable=True, comment="Block that the band is for; empty where a vineyard is named."
        ),
        sa.Column("figure", WORDS, nullable=False, comment="Name of the figure, as `vinebook figures` prints it."),
        sa.Column("low", REAL, nullable=True, comment="Lower limit in the figure's metric unit."),
        sa.Column("high", REAL, nullable=True, comment="Upper limit in the figure's metric unit."),
        sa.Column("from_season", SMALL, nullable=False, comment="First season that the band is for."),
        sa.Column("source", WORDS, nullable=False, comment="Where the band comes from, in words."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_target_band")),
        sa.CheckConstraint(
            "\"figure\" IN ('bud_mortality', 'budbreak', 'berries_per_cluster', 'berry_weight', 'cane_weight', 'canes_per_vine', 'cluster_weight', 'clusters_per_shoot', 'clusters_per_vine', 'gap_share', 'interior_cluster_share', 'interior_leaf_share', 'leaf_area_to_fruit', 'leaf_layer_number', 'longest_bare_cordon', 'nodes_per_m', 'nodes_per_vine', 'noncount_shoot_share', 'ph', 'prunings_per_m', 'prunings_per_vine', 'shoots_per_m', 'shoots_per_node', 'shoots_per_spur', 'shoots_per_vine', 'soluble_solids', 'spur_spacing', 'spur_spacing_within_share', 'spurs_per_vine', 'titratable_acidity', 'vines_missing_share', 'yield_per_ha', 'yield_per_m', 'yield_per_vine', 'yield_to_prunings')",
            name=op.f("ck_target_band_figure_is_known"),
        ),
        sa.CheckConstraint('"low" >= 0', name=op.f("ck_target_band_low_is_possible")),
        sa.CheckConstraint('"high" >= 0', name=op.f("ck_target_band_high_is_possible")),
        sa.CheckConstraint(
            '"from_season" >= 1800 AND "from_season" <= 2200', name=op.f("ck_target_band_from_season_is_possible")
        ),
        sa.ForeignKeyConstraint(
            ["vineyard"], ["vineyard.record"], name=op.f("fk_target_band_vineyard"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_target_band_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_target_band_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "certification",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="Block."),
        sa.Column("scheme", WORDS, nullable=False, comment="Name of the scheme."),
        sa.Column("status", WORDS, nullable=False, comment="Standing of the block."),
        sa.Column("certificate", WORDS, nullable=True, comment="Number of the certificate."),
        sa.Column("valid_from", DAY, nullable=False, comment="First day."),
        sa.Column("valid_to", DAY, nullable=True, comment="Last day; empty while it stands."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_certification")),
        sa.CheckConstraint(
            "\"status\" IN ('certified', 'in_conversion', 'none')", name=op.f("ck_certification_status_is_known")
        ),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_certification_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_certification_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "consignee",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("name", WORDS, nullable=False, comment="Name, as it should stand on statements."),
        sa.Column("address", WORDS, nullable=True, comment="Address."),
        sa.Column("register_numbers", WORDS, nullable=True, comment="Numbers in official registers."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_consignee")),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_consignee_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "silence",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="Block."),
        sa.Column("rule", WORDS, nullable=False, comment="Name of the rule, as `vinebook check --list` prints it."),
        sa.Column("reason", WORDS, nullable=False, comment="Why the rule does not apply here."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_silence")),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_silence_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_silence_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "sample",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("counts", WORDS, nullable=False, comment="kind of record that its rows are"),
        sa.Column("block", WHOLE, nullable=False, comment="Block."),
        sa.Column("season", SMALL, nullable=False, comment="Harvest year; empty follows from the date."),
        sa.Column("date", DAY, nullable=False, comment="Date of the count."),
        sa.Column("part", WORDS, nullable=False, comment="Part of the block (stratum); empty for the whole block."),
        sa.Column("thinning", WORDS, nullable=False, comment="Counted before or after thinning."),
        sa.Column(
            "chosen",
            WORDS,
            nullable=False,
            comment="How the vines were chosen: drawn at random; every k-th from a random start; panels at random; by hand.",
        ),
        sa.Column("panel_size", WHOLE, nullable=True, comment="Vine positions in a panel, where panels were drawn."),
        sa.Column("draw", WORDS, nullable=True, comment="Name of the draw, if one was recorded."),
        sa.Column("seed", WHOLE, nullable=True, comment="Seed of the draw."),
        sa.Column("counted_by", WORDS, nullable=False, comment="Who counted; initials or a number will do."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_sample")),
        sa.CheckConstraint('"season" >= 1800 AND "season" <= 2200', name=op.f("ck_sample_season_is_possible")),
        sa.CheckConstraint("\"thinning\" IN ('before', 'after')", name=op.f("ck_sample_thinning_is_known")),
        sa.CheckConstraint(
            "\"chosen\" IN ('random', 'every_kth', 'panels', 'hand_picked')", name=op.f("ck_sample_chosen_is_known")
        ),
        sa.CheckConstraint('"panel_size" >= 1', name=op.f("ck_sample_panel_size_is_possible")),
        sa.CheckConstraint('"seed" >= 0', name=op.f("ck_sample_seed_is_possible")),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_sample_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_sample_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "bud_sample",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("sample", WHOLE, nullable=False, comment="sample that the row belongs to"),
        sa.Column("cane", WHOLE, nullable=False, comment="Number of the cane."),
        sa.Column("first_position", WHOLE, nullable=True, comment="First node position cut, counted from the base."),
        sa.Column("last_position", WHOLE, nullable=True, comment="Last node position cut."),
        sa.Column("buds", WHOLE, nullable=False, comment="Buds cut."),
        sa.Column("primaries_dead", WHOLE, nullable=False, comment="Buds whose primary is dead."),
        sa.Column(
            "secondaries_alive", WHOLE, nullable=True, comment="Buds with a dead primary whose secondary is alive."
        ),
        sa.Column("primordia", WHOLE, nullable=True, comment="Cluster primordia seen in the primaries."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_bud_sample")),
        sa.CheckConstraint('"cane" >= 1', name=op.f("ck_bud_sample_cane_is_possible")),
        sa.CheckConstraint(
            '"first_position" >= 0 AND "first_position" <= 60', name=op.f("ck_bud_sample_first_position_is_possible")
        ),
        sa.CheckConstraint(
            '"last_position" >= 0 AND "last_position" <= 60', name=op.f("ck_bud_sample_last_position_is_possible")
        ),
        sa.CheckConstraint('"buds" >= 1', name=op.f("ck_bud_sample_buds_is_possible")),
        sa.CheckConstraint('"primaries_dead" >= 0', name=op.f("ck_bud_sample_primaries_dead_is_possible")),
        sa.CheckConstraint('"secondaries_alive" >= 0', name=op.f("ck_bud_sample_secondaries_alive_is_possible")),
        sa.CheckConstraint('"primordia" >= 0', name=op.f("ck_bud_sample_primordia_is_possible")),
        sa.ForeignKeyConstraint(["sample"], ["sample.record"], name=op.f("fk_bud_sample_sample"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_bud_sample_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "decision",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="Block."),
        sa.Column(
            "season", SMALL, nullable=False, comment="Season that the decision is for; empty follows from the date."
        ),
        sa.Column("number", WHOLE, nullable=False, comment="Number of the decision in that block and season."),
        sa.Column("decided_on", DAY, nullable=False, comment="Day on which it was made."),
        sa.Column("decides", WORDS, nullable=False, comment="What is decided."),
        sa.Column("value", REAL, nullable=True, comment="The value decided, where it is a number."),
        sa.Column("words", WORDS, nullable=False, comment="The decision in words."),
        sa.Column("reason", WORDS, nullable=False, comment="Why."),
        sa.Column("decided_by", WORDS, nullable=False, comment="By whom; initials or a number will do."),
        sa.Column("expected_figure", WORDS, nullable=True, comment="Figure by which the outcome will be judged."),
        sa.Column(
            "expected_low", REAL, nullable=True, comment="Lower end of what is expected, in the figure's metric unit."
        ),
        sa.Column(
            "expected_high", REAL, nullable=True, comment="Upper end of what is expected, in the figure's metric unit."
        ),
        sa.Column("review_on", DAY, nullable=True, comment="Day on which the outcome will be looked at."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_decision")),
        sa.CheckConstraint('"season" >= 1800 AND "season" <= 2200', name=op.f("ck_decision_season_is_possible")),
        sa.CheckConstraint('"number" >= 1', name=op.f("ck_decision_number_is_possible")),
        sa.CheckConstraint(
            "\"decides\" IN ('nodes_to_keep', 'pruning_form', 'spur_spacing', 'shoot_thinning', 'leaf_removal', 'cluster_thinning', 'replanting', 'other')",
            name=op.f("ck_decision_decides_is_known"),
        ),
        sa.CheckConstraint(
            "\"expected_figure\" IN ('bud_mortality', 'budbreak', 'berries_per_cluster', 'berry_weight', 'cane_weight', 'canes_per_vine', 'cluster_weight', 'clusters_per_shoot', 'clusters_per_vine', 'gap_share', 'interior_cluster_share', 'interior_leaf_share', 'leaf_area_to_fruit', 'leaf_layer_number', 'longest_bare_cordon', 'nodes_per_m', 'nodes_per_vine', 'noncount_shoot_share', 'ph', 'prunings_per_m', 'prunings_per_vine', 'shoots_per_m', 'shoots_per_node', 'shoots_per_spur', 'shoots_per_vine', 'soluble_solids', 'spur_spacing', 'spur_spacing_within_share', 'spurs_per_vine', 'titratable_acidity', 'vines_missing_share', 'yield_per_ha', 'yield_per_m', 'yield_per_vine', 'yield_to_prunings')",
            name=op.f("ck_decision_expected_figure_is_known"),
        ),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_decision_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_decision_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "pruning_visit",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="Block."),
        sa.Column(
            "season", SMALL, nullable=False, comment="Season that the visit sets; empty follows from the first date."
        ),
        sa.Column("started_on", DAY, nullable=False, comment="First day of pruning."),
        sa.Column("finished_on", DAY, nullable=True, comment="Last day of pruning."),
        sa.Column("pruned", WORDS, nullable=False, comment="How the wood was cut."),
        sa.Column("nodes_to_keep", REAL, nullable=True, comment="Count nodes ordered per vine."),
        sa.Column("tolerance", REAL, nullable=True, comment="Nodes more or fewer that pass."),
        sa.Column("nodes_per_spur", REAL, nullable=True, comment="Count nodes ordered per spur."),
        sa.Column("canes_per_vine", REAL, nullable=True, comment="Canes ordered per vine."),
        sa.Column("nodes_per_cane", REAL, nullable=True, comment="Count nodes ordered per cane."),
        sa.Column("renewal_spurs", REAL, nullable=True, comment="Renewal spurs ordered per vine."),
        sa.Column(
            "wood_weighed",
            WORDS,
            nullable=True,
            comment="Whether the cut wood of sampled vines is weighed at this visit.",
        ),
        sa.Column("rows_done", WORDS, nullable=True, comment="Rows done, in words."),
        sa.Column("crew", WORDS, nullable=True, comment="Crew; initials or a number will do."),
        sa.Column("note", WORDS, nullable=True, comment="Anything else."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_pruning_visit")),
        sa.CheckConstraint('"season" >= 1800 AND "season" <= 2200', name=op.f("ck_pruning_visit_season_is_possible")),
        sa.CheckConstraint(
            "\"pruned\" IN ('spur', 'cane', 'mixed', 'minimal')", name=op.f("ck_pruning_visit_pruned_is_known")
        ),
        sa.CheckConstraint('"nodes_to_keep" >= 0', name=op.f("ck_pruning_visit_nodes_to_keep_is_possible")),
        sa.CheckConstraint('"tolerance" >= 0', name=op.f("ck_pruning_visit_tolerance_is_possible")),
        sa.CheckConstraint('"nodes_per_spur" >= 0', name=op.f("ck_pruning_visit_nodes_per_spur_is_possible")),
        sa.CheckConstraint('"canes_per_vine" >= 0', name=op.f("ck_pruning_visit_canes_per_vine_is_possible")),
        sa.CheckConstraint('"nodes_per_cane" >= 0', name=op.f("ck_pruning_visit_nodes_per_cane_is_possible")),
        sa.CheckConstraint('"renewal_spurs" >= 0', name=op.f("ck_pruning_visit_renewal_spurs_is_possible")),
        sa.CheckConstraint("\"wood_weighed\" IN ('yes', 'no')", name=op.f("ck_pruning_visit_wood_weighed_is_known")),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_pruning_visit_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_pruning_visit_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "pruned_vine",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("sample", WHOLE, nullable=False, comment="sample that the row belongs to"),
        sa.Column("row", WHOLE, nullable=False, comment="Number of the row."),
        sa.Column("vine", WHOLE, nullable=False, comment="Position of the vine from the numbered end of its row."),
        sa.Column("state", WORDS, nullable=False, comment="State of the vine; young vines do not crop at present."),
        sa.Column("spurs", WHOLE, nullable=True, comment="Spurs kept, renewal spurs not counted."),
        sa.Column("canes", WHOLE, nullable=True, comment="Canes kept."),
        sa.Column("renewal_spurs", WHOLE, nullable=True, comment="Renewal spurs kept."),
        sa.Column(
            "nodes_on_spurs", WHOLE, nullable=True, comment="Count nodes kept on spurs; the basal bud never counts."
        ),
        sa.Column("nodes_on_canes", WHOLE, nullable=True, comment="Count nodes kept on canes."),
        sa.Column("nodes_on_renewal_spurs", WHOLE, nullable=True, comment="Count nodes kept on renewal spurs."),
        sa.Column("canes_weighed", WHOLE, nullable=True, comment="One-year-old canes in the weighed bundle."),
        sa.Column("prunings_mg", WHOLE, nullable=True, comment="Mass of one-year-old canes cut from this vine."),
        sa.Column(
            "pruned_by", WORDS, nullable=False, comment="Who pruned the vine; only the crew's show what the crew did."
        ),
        sa.Column("wood", WORDS, nullable=False, comment="Incomplete after mechanical pre-pruning."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_pruned_vine")),
        sa.CheckConstraint('"row" >= 1', name=op.f("ck_pruned_vine_row_is_possible")),
        sa.CheckConstraint('"vine" >= 1', name=op.f("ck_pruned_vine_vine_is_possible")),
        sa.CheckConstraint(
            "\"state\" IN ('bearing', 'young', 'missing', 'dead')", name=op.f("ck_pruned_vine_state_is_known")
        ),
        sa.CheckConstraint('"spurs" >= 0', name=op.f("ck_pruned_vine_spurs_is_possible")),
        sa.CheckConstraint('"canes" >= 0', name=op.f("ck_pruned_vine_canes_is_possible")),
        sa.CheckConstraint('"renewal_spurs" >= 0', name=op.f("ck_pruned_vine_renewal_spurs_is_possible")),
        sa.CheckConstraint('"nodes_on_spurs" >= 0', name=op.f("ck_pruned_vine_nodes_on_spurs_is_possible")),
        sa.CheckConstraint('"nodes_on_canes" >= 0', name=op.f("ck_pruned_vine_nodes_on_canes_is_possible")),
        sa.CheckConstraint(
            '"nodes_on_renewal_spurs" >= 0', name=op.f("ck_pruned_vine_nodes_on_renewal_spurs_is_possible")
        ),
        sa.CheckConstraint('"canes_weighed" >= 0', name=op.f("ck_pruned_vine_canes_weighed_is_possible")),
        sa.CheckConstraint(
            '"prunings_mg" >= 0 AND "prunings_mg" <= 1000000000', name=op.f("ck_pruned_vine_prunings_mg_is_possible")
        ),
        sa.CheckConstraint("\"pruned_by\" IN ('crew', 'sampler')", name=op.f("ck_pruned_vine_pruned_by_is_known")),
        sa.CheckConstraint("\"wood\" IN ('complete', 'incomplete')", name=op.f("ck_pruned_vine_wood_is_known")),
        sa.ForeignKeyConstraint(["sample"], ["sample.record"], name=op.f("fk_pruned_vine_sample"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_pruned_vine_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "bearer",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("sample", WHOLE, nullable=False, comment="sample that the row belongs to"),
        sa.Column("row", WHOLE, nullable=False, comment="Number of the row."),
        sa.Column("vine", WHOLE, nullable=False, comment="Position of the vine from the numbered end of its row."),
        sa.Column(
            "bearer_number",
            WHOLE,
            nullable=False,
            comment="Number of the bearer on the vine, walking out along each arm.",
        ),
        sa.Column("bearer", WORDS, nullable=False, comment="What it is."),
        sa.Column(
            "arm", WHOLE, nullable=True, comment="Arm that it stands on: 1, 2, …; empty for bearers of the head."
        ),
        sa.Column("distance_m", REAL, nullable=True, comment="Distance along the arm from the head to the bearer."),
        sa.Column("nodes", WHOLE, nullable=True, comment="Count nodes kept on it."),
        sa.Column("count_shoots", WHOLE, nullable=True, comment="Count nodes of it with at least one shoot."),
        sa.Column("double_shoots", WHOLE, nullable=True, comment="Shoots of it beyond the first from a count node."),
        sa.Column("noncount_shoots", WHOLE, nullable=True, comment="Shoots of it from basal buds."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_bearer")),
        sa.CheckConstraint('"row" >= 1', name=op.f("ck_bearer_row_is_possible")),
        sa.CheckConstraint('"vine" >= 1', name=op.f("ck_bearer_vine_is_possible")),
        sa.CheckConstraint(
            '"bearer_number" >= 1 AND "bearer_number" <= 500', name=op.f("ck_bearer_bearer_number_is_possible")
        ),
        sa.CheckConstraint(
            "\"bearer\" IN ('spur', 'cane', 'renewal_spur', 'head_spur', 'end_of_arm')",
            name=op.f("ck_bearer_bearer_is_known"),
        ),
        sa.CheckConstraint('"arm" >= 1 AND "arm" <= 8', name=op.f("ck_bearer_arm_is_possible")),
        sa.CheckConstraint('"distance_m" >= 0', name=op.f("ck_bearer_distance_m_is_possible")),
        sa.CheckConstraint('"nodes" >= 0', name=op.f("ck_bearer_nodes_is_possible")),
        sa.CheckConstraint('"count_shoots" >= 0', name=op.f("ck_bearer_count_shoots_is_possible")),
        sa.CheckConstraint('"double_shoots" >= 0', name=op.f("ck_bearer_double_shoots_is_possible")),
        sa.CheckConstraint('"noncount_shoots" >= 0', name=op.f("ck_bearer_noncount_shoots_is_possible")),
        sa.ForeignKeyConstraint(["sample"], ["sample.record"], name=op.f("fk_bearer_sample"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_bearer_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "growth_stage",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="Block."),
        sa.Column("season", SMALL, nullable=False, comment="Harvest year; empty follows from the date."),
        sa.Column("date", DAY, nullable=False, comment="Date."),
        sa.Column("scale", WORDS, nullable=False, comment="Scale: BBCH, or another by its name."),
        sa.Column("code", WORDS, nullable=False, comment="Code on that scale, as text: 09 keeps its zero."),
        sa.Column("share_percent", REAL, nullable=True, comment="Share of the vines at this stage or beyond it."),
        sa.Column("words", WORDS, nullable=True, comment="What was seen."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_growth_stage")),
        sa.CheckConstraint('"season" >= 1800 AND "season" <= 2200', name=op.f("ck_growth_stage_season_is_possible")),
        sa.CheckConstraint(
            '"share_percent" >= 0 AND "share_percent" <= 100', name=op.f("ck_growth_stage_share_percent_is_possible")
        ),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_growth_stage_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_growth_stage_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "canopy_work",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="Block."),
        sa.Column("season", SMALL, nullable=False, comment="Harvest year; empty follows from the date."),
        sa.Column("work", WORDS, nullable=False, comment="What was done."),
        sa.Column("started_on", DAY, nullable=False, comment="First day."),
        sa.Column("finished_on", DAY, nullable=True, comment="Last day."),
        sa.Column("side", WORDS, nullable=True, comment="Side of the row, or both."),
        sa.Column(
            "extent",
            WORDS,
            nullable=True,
            comment="How much, in words: to 15 shoots a metre, 3 leaves a shoot, one cluster a shoot.",
        ),
        sa.Column("done_by", WORDS, nullable=True, comment="By hand or by machine."),
        sa.Column("rows_done", WORDS, nullable=True, comment="Rows done, in words."),
        sa.Column("crew", WORDS, nullable=True, comment="Crew; initials or a number will do."),
        sa.Column("note", WORDS, nullable=True, comment="Anything else."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_canopy_work")),
        sa.CheckConstraint('"season" >= 1800 AND "season" <= 2200', name=op.f("ck_canopy_work_season_is_possible")),
        sa.CheckConstraint(
            "\"work\" IN ('shoot_thinning', 'shoot_positioning', 'cluster_zone_leaf_removal', 'hedging', 'cluster_thinning')",
            name=op.f("ck_canopy_work_work_is_known"),
        ),
        sa.CheckConstraint("\"done_by\" IN ('hand', 'machine')", name=op.f("ck_canopy_work_done_by_is_known")),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_canopy_work_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_canopy_work_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "shoot_tally",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("sample", WHOLE, nullable=False, comment="sample that the row belongs to"),
        sa.Column("row", WHOLE, nullable=False, comment="Number of the row."),
        sa.Column("vine", WHOLE, nullable=False, comment="Position of the vine from the numbered end of its row."),
        sa.Column("state", WORDS, nullable=False, comment="State of the vine; young vines do not crop at present."),
        sa.Column("count_shoots", WHOLE, nullable=True, comment="Count nodes with at least one shoot."),
        sa.Column("double_shoots", WHOLE, nullable=True, comment="Shoots beyond the first from a count node."),
        sa.Column("noncount_shoots", WHOLE, nullable=True, comment="Shoots from basal and old-wood buds."),
        sa.Column("blind_nodes", WHOLE, nullable=True, comment="Count nodes that gave no shoot."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_shoot_tally")),
        sa.CheckConstraint('"row" >= 1', name=op.f("ck_shoot_tally_row_is_possible")),
        sa.CheckConstraint('"vine" >= 1', name=op.f("ck_shoot_tally_vine_is_possible")),
        sa.CheckConstraint(
            "\"state\" IN ('bearing', 'young', 'missing', 'dead')", name=op.f("ck_shoot_tally_state_is_known")
        ),
        sa.CheckConstraint('"count_shoots" >= 0', name=op.f("ck_shoot_tally_count_shoots_is_possible")),
        sa.CheckConstraint('"double_shoots" >= 0', name=op.f("ck_shoot_tally_double_shoots_is_possible")),
        sa.CheckConstraint('"noncount_shoots" >= 0', name=op.f("ck_shoot_tally_noncount_shoots_is_possible")),
        sa.CheckConstraint('"blind_nodes" >= 0', name=op.f("ck_shoot_tally_blind_nodes_is_possible")),
        sa.ForeignKeyConstraint(["sample"], ["sample.record"], name=op.f("fk_shoot_tally_sample"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_shoot_tally_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "node_tally",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("sample", WHOLE, nullable=False, comment="sample that the row belongs to"),
        sa.Column("row", WHOLE, nullable=False, comment="Number of the row."),
        sa.Column("vine", WHOLE, nullable=False, comment="Position of the vine from the numbered end of its row."),
        sa.Column("bearer", WORDS, nullable=False, comment="What the node stands on."),
        sa.Column("bearer_number", WHOLE, nullable=False, comment="Number of that spur or cane on the vine."),
        sa.Column(
            "position",
            SMALL,
            nullable=False,
            comment="Node position: 0 basal, then 1, 2, … from the base; old wood for head and trunk.",
        ),
        sa.Column("shoots", WHOLE, nullable=False, comment="Shoots from the node; 0 where it is blind."),
        sa.Column("clusters", SMALL, nullable=True, comment="Clusters on each of its shoots, joined by +: 2+1."),
        sa.Column(
            "clusters_each",
            WORDS,
            nullable=True,
            comment="Clusters on each of its shoots, joined by +: 2+1. As written.",
        ),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_node_tally")),
        sa.CheckConstraint('"row" >= 1', name=op.f("ck_node_tally_row_is_possible")),
        sa.CheckConstraint('"vine" >= 1', name=op.f("ck_node_tally_vine_is_possible")),
        sa.CheckConstraint(
            "\"bearer\" IN ('spur', 'cane', 'renewal_spur', 'head_spur')", name=op.f("ck_node_tally_bearer_is_known")
        ),
        sa.CheckConstraint(
            '"bearer_number" >= 1 AND "bearer_number" <= 500', name=op.f("ck_node_tally_bearer_number_is_possible")
        ),
        sa.CheckConstraint('"position" >= -1', name=op.f("ck_node_tally_position_is_possible")),
        sa.CheckConstraint('"shoots" >= 0', name=op.f("ck_node_tally_shoots_is_possible")),
        sa.ForeignKeyConstraint(["sample"], ["sample.record"], name=op.f("fk_node_tally_sample"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_node_tally_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "cluster_tally",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("sample", WHOLE, nullable=False, comment="sample that the row belongs to"),
        sa.Column("row", WHOLE, nullable=False, comment="Number of the row."),
        sa.Column("vine", WHOLE, nullable=False, comment="Position of the vine from the numbered end of its row."),
        sa.Column("state", WORDS, nullable=False, comment="State of the vine; young vines do not crop at present."),
        sa.Column("clusters", WHOLE, nullable=True, comment="Clusters on the vine."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_cluster_tally")),
        sa.CheckConstraint('"row" >= 1', name=op.f("ck_cluster_tally_row_is_possible")),
        sa.CheckConstraint('"vine" >= 1', name=op.f("ck_cluster_tally_vine_is_possible")),
        sa.CheckConstraint(
            "\"state\" IN ('bearing', 'young', 'missing', 'dead')", name=op.f("ck_cluster_tally_state_is_known")
        ),
        sa.CheckConstraint('"clusters" >= 0', name=op.f("ck_cluster_tally_clusters_is_possible")),
        sa.ForeignKeyConstraint(
            ["sample"], ["sample.record"], name=op.f("fk_cluster_tally_sample"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_cluster_tally_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "cluster_lot",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("sample", WHOLE, nullable=False, comment="sample that the row belongs to"),
        sa.Column("stage", WORDS, nullable=False, comment="Stage at which the lot was cut."),
        sa.Column(
            "lot",
            WHOLE,
            nullable=False,
            comment="Number of the lot in this sample; the row of each drawn vine will do.",
        ),
        sa.Column("clusters", WHOLE, nullable=False, comment="Clusters in the lot."),
        sa.Column("mass_mg", WHOLE, nullable=False, comment="Mass of the clusters."),
        sa.Column("berries", WHOLE, nullable=True, comment="Berries counted, of berry_mass."),
        sa.Column("berry_mass_mg", WHOLE, nullable=True, comment="Mass of the counted berries."),
        sa.Column("days_after_bloom", WHOLE, nullable=True, comment="Days from full bloom to the date."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_cluster_lot")),
        sa.CheckConstraint(
            "\"stage\" IN ('lag_phase', 'veraison', 'harvest')", name=op.f("ck_cluster_lot_stage_is_known")
        ),
        sa.CheckConstraint('"lot" >= 1', name=op.f("ck_cluster_lot_lot_is_possible")),
        sa.CheckConstraint('"clusters" >= 1', name=op.f("ck_cluster_lot_clusters_is_possible")),
        sa.CheckConstraint(
            '"mass_mg" >= 0 AND "mass_mg" <= 1000000000', name=op.f("ck_cluster_lot_mass_mg_is_possible")
        ),
        sa.CheckConstraint('"berries" >= 0', name=op.f("ck_cluster_lot_berries_is_possible")),
        sa.CheckConstraint(
            '"berry_mass_mg" >= 0 AND "berry_mass_mg" <= 1000000000',
            name=op.f("ck_cluster_lot_berry_mass_mg_is_possible"),
        ),
        sa.CheckConstraint(
            '"days_after_bloom" >= 0 AND "days_after_bloom" <= 250',
            name=op.f("ck_cluster_lot_days_after_bloom_is_possible"),
        ),
        sa.ForeignKeyConstraint(["sample"], ["sample.record"], name=op.f("fk_cluster_lot_sample"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_cluster_lot_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "canopy_probe",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("sample", WHOLE, nullable=False, comment="sample that the row belongs to"),
        sa.Column("transect", WHOLE, nullable=False, comment="Number of the transect."),
        sa.Column("probe", WHOLE, nullable=False, comment="Number of the probe along it."),
        sa.Column("side", WORDS, nullable=True, comment="Side of the row from which the rod goes in."),
        sa.Column("height_m", REAL, nullable=True, comment="Height of the probe above the ground."),
        sa.Column(
            "contacts",
            WORDS,
            nullable=False,
            comment="What the rod meets, in order: L leaf, C cluster, S stem; empty or G where it meets nothing.",
        ),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_canopy_probe")),
        sa.CheckConstraint('"transect" >= 1', name=op.f("ck_canopy_probe_transect_is_possible")),
        sa.CheckConstraint('"probe" >= 1', name=op.f("ck_canopy_probe_probe_is_possible")),
        sa.CheckConstraint('"height_m" >= 0', name=op.f("ck_canopy_probe_height_m_is_possible")),
        sa.ForeignKeyConstraint(
            ["sample"], ["sample.record"], name=op.f("fk_canopy_probe_sample"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_canopy_probe_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "leaf_area",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("sample", WHOLE, nullable=False, comment="sample that the row belongs to"),
        sa.Column("row", WHOLE, nullable=False, comment="Number of the row."),
        sa.Column("vine", WHOLE, nullable=False, comment="Position of the vine from the numbered end of its row."),
        sa.Column("state", WORDS, nullable=False, comment="State of the vine; young vines do not crop at present."),
        sa.Column("leaf_area_m2", REAL, nullable=True, comment="Leaf area of the vine."),
        sa.Column("method", WORDS, nullable=True, comment="How it was measured or worked out."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_leaf_area")),
        sa.CheckConstraint('"row" >= 1', name=op.f("ck_leaf_area_row_is_possible")),
        sa.CheckConstraint('"vine" >= 1', name=op.f("ck_leaf_area_vine_is_possible")),
        sa.CheckConstraint(
            "\"state\" IN ('bearing', 'young', 'missing', 'dead')", name=op.f("ck_leaf_area_state_is_known")
        ),
        sa.CheckConstraint('"leaf_area_m2" >= 0', name=op.f("ck_leaf_area_leaf_area_m2_is_possible")),
        sa.ForeignKeyConstraint(["sample"], ["sample.record"], name=op.f("fk_leaf_area_sample"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_leaf_area_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "maturity_sample",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="Block."),
        sa.Column("season", SMALL, nullable=False, comment="Harvest year; empty follows from the date."),
        sa.Column("date", DAY, nullable=False, comment="Date."),
        sa.Column("number", WHOLE, nullable=False, comment="Number of the sample on that date."),
        sa.Column("sampled", WORDS, nullable=False, comment="What was picked."),
        sa.Column("clusters", WHOLE, nullable=True, comment="Clusters picked."),
        sa.Column("berries", WHOLE, nullable=True, comment="Berries picked, or counted for their mass."),
        sa.Column("berry_mass_mg", WHOLE, nullable=True, comment="Mass of those berries."),
        sa.Column("soluble_solids_brix", REAL, nullable=True, comment="Soluble solids."),
        sa.Column("ph", REAL, nullable=True, comment="pH."),
        sa.Column("titratable_acidity_g_per_l", REAL, nullable=True, comment="Titratable acidity, as tartaric acid."),
        sa.Column("condition", WORDS, nullable=True, comment="Condition of the fruit."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_maturity_sample")),
        sa.CheckConstraint('"season" >= 1800 AND "season" <= 2200', name=op.f("ck_maturity_sample_season_is_possible")),
        sa.CheckConstraint('"number" >= 1', name=op.f("ck_maturity_sample_number_is_possible")),
        sa.CheckConstraint("\"sampled\" IN ('clusters', 'berries')", name=op.f("ck_maturity_sample_sampled_is_known")),
        sa.CheckConstraint('"clusters" >= 0', name=op.f("ck_maturity_sample_clusters_is_possible")),
        sa.CheckConstraint('"berries" >= 0', name=op.f("ck_maturity_sample_berries_is_possible")),
        sa.CheckConstraint(
            '"berry_mass_mg" >= 0 AND "berry_mass_mg" <= 1000000000',
            name=op.f("ck_maturity_sample_berry_mass_mg_is_possible"),
        ),
        sa.CheckConstraint(
            '"soluble_solids_brix" >= 0 AND "soluble_solids_brix" <= 80',
            name=op.f("ck_maturity_sample_soluble_solids_brix_is_possible"),
        ),
        sa.CheckConstraint('"ph" >= 0 AND "ph" <= 14', name=op.f("ck_maturity_sample_ph_is_possible")),
        sa.CheckConstraint(
            '"titratable_acidity_g_per_l" >= 0', name=op.f("ck_maturity_sample_titratable_acidity_g_per_l_is_possible")
        ),
        sa.ForeignKeyConstraint(
            ["block"], ["block.record"], name=op.f("fk_maturity_sample_block"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["tally"], ["tally.number"], name=op.f("fk_maturity_sample_tally"), ondelete="RESTRICT"
        ),
        sqlite_strict=True,
    )
    op.create_table(
        "crop_estimate",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="Block."),
        sa.Column("season", SMALL, nullable=False, comment="Harvest year; empty follows from the date."),
        sa.Column("date", DAY, nullable=False, comment="Date on which it was given."),
        sa.Column("given_to", WORDS, nullable=False, comment="To whom it was given."),
        sa.Column("stage", WORDS, nullable=False, comment="Stage at which it was made."),
        sa.Column("method", WORDS, nullable=False, comment="How it was worked out."),
        sa.Column("estimate_milli", WHOLE, nullable=False, comment="Crop expected."),
        sa.Column("low_milli", WHOLE, nullable=True, comment="Lower end of its interval."),
        sa.Column("high_milli", WHOLE, nullable=True, comment="Upper end of its interval."),
        sa.Column("level", REAL, nullable=True, comment="Coverage of that interval in percent."),
        sa.Column("inputs", WORDS, nullable=True, comment="Counts and factors that it rests on."),
        sa.Column("mass_unit", WORDS, nullable=False, comment="unit in which the ticket is printed"),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_crop_estimate")),
        sa.CheckConstraint('"season" >= 1800 AND "season" <= 2200', name=op.f("ck_crop_estimate_season_is_possible")),
        sa.CheckConstraint(
            "\"stage\" IN ('bud_break', 'set', 'lag_phase', 'veraison', 'near_harvest')",
            name=op.f("ck_crop_estimate_stage_is_known"),
        ),
        sa.CheckConstraint('"estimate_milli" >= 0', name=op.f("ck_crop_estimate_estimate_milli_is_possible")),
        sa.CheckConstraint('"low_milli" >= 0', name=op.f("ck_crop_estimate_low_milli_is_possible")),
        sa.CheckConstraint('"high_milli" >= 0', name=op.f("ck_crop_estimate_high_milli_is_possible")),
        sa.CheckConstraint('"level" >= 0 AND "level" <= 100', name=op.f("ck_crop_estimate_level_is_possible")),
        sa.CheckConstraint("mass_unit IN ('kg', 't', 'lb', 'ton')", name=op.f("ck_crop_estimate_mass_unit_is_known")),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_crop_estimate_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_crop_estimate_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "vine_harvest",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("sample", WHOLE, nullable=False, comment="sample that the row belongs to"),
        sa.Column("row", WHOLE, nullable=False, comment="Number of the row."),
        sa.Column("vine", WHOLE, nullable=False, comment="Position of the vine from the numbered end of its row."),
        sa.Column("state", WORDS, nullable=False, comment="State of the vine; young vines do not crop at present."),
        sa.Column("clusters", WHOLE, nullable=True, comment="Clusters picked."),
        sa.Column(
            "mass_mg", WHOLE, nullable=True, comment="Mass of the fruit of this vine; needed for a bearing vine."
        ),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_vine_harvest")),
        sa.CheckConstraint('"row" >= 1', name=op.f("ck_vine_harvest_row_is_possible")),
        sa.CheckConstraint('"vine" >= 1', name=op.f("ck_vine_harvest_vine_is_possible")),
        sa.CheckConstraint(
            "\"state\" IN ('bearing', 'young', 'missing', 'dead')", name=op.f("ck_vine_harvest_state_is_known")
        ),
        sa.CheckConstraint('"clusters" >= 0', name=op.f("ck_vine_harvest_clusters_is_possible")),
        sa.CheckConstraint(
            '"mass_mg" >= 0 AND "mass_mg" <= 1000000000', name=op.f("ck_vine_harvest_mass_mg_is_possible")
        ),
        sa.ForeignKeyConstraint(
            ["sample"], ["sample.record"], name=op.f("fk_vine_harvest_sample"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_vine_harvest_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "load",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column(
            "vineyard",
            WHOLE,
            nullable=True,
            comment="Vineyard that delivered; needed where the book's vineyards differ in hemisphere or units.",
        ),
        sa.Column("date", DAY, nullable=False, comment="Date of weighing."),
        sa.Column("season", SMALL, nullable=False, comment="Harvest year; empty follows from the date."),
        sa.Column("issuer", WORDS, nullable=False, comment="Who issued the ticket."),
        sa.Column("number", WORDS, nullable=False, comment="Number on the ticket."),
        sa.Column(
            "basis",
            WORDS,
            nullable=False,
            comment="How net is known: gross less tare; net as given; bins times the mean mass of a bin.",
        ),
        sa.Column("gross_milli", WHOLE, nullable=True, comment="Gross mass as printed."),
        sa.Column("tare_milli", WHOLE, nullable=True, comment="Tare as printed."),
        sa.Column("net_milli", WHOLE, nullable=False, comment="Net mass as printed."),
        sa.Column("scale_interval_milli", WHOLE, nullable=True, comment="Interval of the scale."),
        sa.Column("bins", WHOLE, nullable=True, comment="Number of bins."),
        sa.Column("bin_mass_milli", WHOLE, nullable=True, comment="Mean net mass of a bin."),
        sa.Column("deductions_milli", WHOLE, nullable=False, comment="Mass deducted: leaves, stems, defects."),
        sa.Column("refused_milli", WHOLE, nullable=False, comment="Mass refused."),
        sa.Column("refused_reason", WORDS, nullable=True, comment="Why fruit was refused."),
        sa.Column("consignee", WHOLE, nullable=True, comment="Who took the fruit."),
        sa.Column("soluble_solids_brix", REAL, nullable=True, comment="Soluble solids of the must."),
        sa.Column("ph", REAL, nullable=True, comment="pH of the must."),
        sa.Column(
            "titratable_acidity_g_per_l",
            REAL,
            nullable=True,
            comment="Titratable acidity of the must, as tartaric acid.",
        ),
        sa.Column("note", WORDS, nullable=True, comment="Anything else."),
        sa.Column("mass_unit", WORDS, nullable=False, comment="unit in which the ticket is printed"),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_load")),
        sa.CheckConstraint('"season" >= 1800 AND "season" <= 2200', name=op.f("ck_load_season_is_possible")),
        sa.CheckConstraint(
            "\"basis\" IN ('gross_and_tare', 'net_as_given', 'bins')", name=op.f("ck_load_basis_is_known")
        ),
        sa.CheckConstraint('"gross_milli" >= 0', name=op.f("ck_load_gross_milli_is_possible")),
        sa.CheckConstraint('"tare_milli" >= 0', name=op.f("ck_load_tare_milli_is_possible")),
        sa.CheckConstraint('"net_milli" >= 0', name=op.f("ck_load_net_milli_is_possible")),
        sa.CheckConstraint('"scale_interval_milli" >= 0', name=op.f("ck_load_scale_interval_milli_is_possible")),
        sa.CheckConstraint('"bins" >= 0', name=op.f("ck_load_bins_is_possible")),
        sa.CheckConstraint('"bin_mass_milli" >= 0', name=op.f("ck_load_bin_mass_milli_is_possible")),
        sa.CheckConstraint('"deductions_milli" >= 0', name=op.f("ck_load_deductions_milli_is_possible")),
        sa.CheckConstraint('"refused_milli" >= 0', name=op.f("ck_load_refused_milli_is_possible")),
        sa.CheckConstraint(
            '"soluble_solids_brix" >= 0 AND "soluble_solids_brix" <= 80',
            name=op.f("ck_load_soluble_solids_brix_is_possible"),
        ),
        sa.CheckConstraint('"ph" >= 0 AND "ph" <= 14', name=op.f("ck_load_ph_is_possible")),
        sa.CheckConstraint(
            '"titratable_acidity_g_per_l" >= 0', name=op.f("ck_load_titratable_acidity_g_per_l_is_possible")
        ),
        sa.CheckConstraint("mass_unit IN ('kg', 't', 'lb', 'ton')", name=op.f("ck_load_mass_unit_is_known")),
        sa.ForeignKeyConstraint(["vineyard"], ["vineyard.record"], name=op.f("fk_load_vineyard"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["consignee"], ["consignee.record"], name=op.f("fk_load_consignee"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_load_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "load_part",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("load", WHOLE, nullable=False, comment="Ticket that the share belongs to."),
        sa.Column("block", WHOLE, nullable=False, comment="Block that the fruit came from."),
        sa.Column("pick", WHOLE, nullable=False, comment="Pick of the block in this season: 1, 2, …"),
        sa.Column(
            "mass_milli",
            WHOLE,
            nullable=True,
            comment="Share of the net mass; empty where the load is of one block and pick, or not split yet.",
        ),
        sa.Column(
            "split",
            WORDS,
            nullable=False,
            comment="How the share is known; whole where the load is of one block and pick.",
        ),
        sa.Column("picked", WORDS, nullable=False, comment="Picked by hand or by machine."),
        sa.Column("purpose", WORDS, nullable=False, comment="What the fruit is for."),
        sa.Column("certification", WORDS, nullable=True, comment="Certification as it stood."),
        sa.Column("mass_unit", WORDS, nullable=False, comment="unit in which the ticket is printed"),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_load_part")),
        sa.CheckConstraint('"pick" >= 1 AND "pick" <= 50', name=op.f("ck_load_part_pick_is_possible")),
        sa.CheckConstraint('"mass_milli" >= 0', name=op.f("ck_load_part_mass_milli_is_possible")),
        sa.CheckConstraint(
            "\"split\" IN ('whole', 'weighed', 'bins', 'by_eye')", name=op.f("ck_load_part_split_is_known")
        ),
        sa.CheckConstraint("\"picked\" IN ('hand', 'machine')", name=op.f("ck_load_part_picked_is_known")),
        sa.CheckConstraint(
            "\"purpose\" IN ('still', 'sparkling', 'late', 'frozen', 'table', 'other')",
            name=op.f("ck_load_part_purpose_is_known"),
        ),
        sa.CheckConstraint("mass_unit IN ('kg', 't', 'lb', 'ton')", name=op.f("ck_load_part_mass_unit_is_known")),
        sa.ForeignKeyConstraint(["load"], ["load.record"], name=op.f("fk_load_part_load"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_load_part_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_load_part_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "harvest_close",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="Block."),
        sa.Column("season", SMALL, nullable=False, comment="Harvest year; empty follows from the date."),
        sa.Column("finished_on", DAY, nullable=False, comment="Last day of harvest."),
        sa.Column(
            "fruit_left_milli", WHOLE, nullable=False, comment="Mass of fruit left on the vine, all vines together."
        ),
        sa.Column("fruit_left_by", WORDS, nullable=False, comment="How that mass is known."),
        sa.Column("reason", WORDS, nullable=True, comment="Why fruit was left."),
        sa.Column("mass_unit", WORDS, nullable=False, comment="unit in which the ticket is printed"),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_harvest_close")),
        sa.CheckConstraint('"season" >= 1800 AND "season" <= 2200', name=op.f("ck_harvest_close_season_is_possible")),
        sa.CheckConstraint('"fruit_left_milli" >= 0', name=op.f("ck_harvest_close_fruit_left_milli_is_possible")),
        sa.CheckConstraint(
            "\"fruit_left_by\" IN ('weighed', 'by_eye')", name=op.f("ck_harvest_close_fruit_left_by_is_known")
        ),
        sa.CheckConstraint("mass_unit IN ('kg', 't', 'lb', 'ton')", name=op.f("ck_harvest_close_mass_unit_is_known")),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_harvest_close_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_harvest_close_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )
    op.create_table(
        "event",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="Block."),
        sa.Column("season", SMALL, nullable=False, comment="Harvest year; empty follows from the date."),
        sa.Column("date", DAY, nullable=False, comment="Date."),
        sa.Column("what", WORDS, nullable=False, comment="What happened."),
        sa.Column("share_hit_percent", REAL, nullable=True, comment="Share of the block that was hit."),
        sa.Column("words", WORDS, nullable=True, comment="What was seen."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_event")),
        sa.CheckConstraint('"season" >= 1800 AND "season" <= 2200', name=op.f("ck_event_season_is_possible")),
        sa.CheckConstraint(
            "\"what\" IN ('frost', 'hail', 'disease', 'drought', 'heat', 'birds', 'smoke', 'other')",
            name=op.f("ck_event_what_is_known"),
        ),
        sa.CheckConstraint(
            '"share_hit_percent" >= 0 AND "share_hit_percent" <= 100',
            name=op.f("ck_event_share_hit_percent_is_possible"),
        ),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_event_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_event_tally"), ondelete="RESTRICT"),
        sqlite_strict=True,
    )


def _indexes() -> None:
    op.create_index("uq_vineyard_key", "vineyard", ["name"], unique=True, sqlite_where=LIVE, postgresql_where=LIVE)
    op.create_index("ix_block_vineyard", "block", ["vineyard"], unique=False, sqlite_where=LIVE, postgresql_where=LIVE)
    op.create_index("uq_block_key", "block", ["code"], unique=True, sqlite_where=LIVE, postgresql_where=LIVE)
    op.create_index(
        "ix_predecessor_predecessor",
        "predecessor",
        ["predecessor"],
        unique=False,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_predecessor_key",
        "predecessor",
        ["block", "predecessor"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_row_key",
        "row",
        ["block", "from_season", "first_row"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_planting_key", "planting", ["block", "from_season"], unique=True, sqlite_where=LIVE, postgresql_where=LIVE
    )
    op.create_index(
        "uq_vine_census_key",
        "vine_census",
        ["block", "date", "part", "row"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_training_key", "training", ["block", "from_season"], unique=True, sqlite_where=LIVE, postgresql_where=LIVE
    )
    op.create_index(
        "ix_target_band_block", "target_band", ["block"], unique=False, sqlite_where=LIVE, postgresql_where=LIVE
    )
    op.create_index(
        "uq_target_band_key",
        "target_band",
        [sa.text("coalesce(vineyard, 0)"), sa.text("coalesce(block, 0)"), "figure", "from_season"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_certification_key",
        "certification",
        ["block", "scheme", "valid_from"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index("uq_consignee_key", "consignee", ["name"], unique=True, sqlite_where=LIVE, postgresql_where=LIVE)
    op.create_index(
        "uq_silence_key", "silence", ["block", "rule"], unique=True, sqlite_where=LIVE, postgresql_where=LIVE
    )
    op.create_index(
        "uq_sample_key",
        "sample",
        ["block", "season", "counts", "date", "thinning", "part", "chosen", "counted_by"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_bud_sample_key", "bud_sample", ["sample", "cane"], unique=True, sqlite_where=LIVE, postgresql_where=LIVE
    )
    op.create_index(
        "uq_decision_key",
        "decision",
        ["block", "season", "number"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_pruning_visit_key",
        "pruning_visit",
        ["block", "season"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "ix_pruned_vine_figures",
        "pruned_vine",
        [
            "sample",
            "row",
            "vine",
            "state",
            "pruned_by",
            "wood",
            "spurs",
            "canes",
            "nodes_on_spurs",
            "nodes_on_canes",
            "nodes_on_renewal_spurs",
            "canes_weighed",
            "prunings_mg",
            "struck_at",
        ],
        unique=False,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_pruned_vine_key",
        "pruned_vine",
        ["sample", "row", "vine"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_bearer_key",
        "bearer",
        ["sample", "row", "vine", "bearer_number"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_growth_stage_key",
        "growth_stage",
        ["block", "date", "scale", "code"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_canopy_work_key",
        "canopy_work",
        ["block", "season", "work", "started_on"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "ix_shoot_tally_figures",
        "shoot_tally",
        [
            "sample",
            "row",
            "vine",
            "state",
            "count_shoots",
            "double_shoots",
            "noncount_shoots",
            "blind_nodes",
            "struck_at",
        ],
        unique=False,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_shoot_tally_key",
        "shoot_tally",
        ["sample", "row", "vine"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "ix_node_tally_figures",
        "node_tally",
        ["sample", "row", "vine", "bearer", "bearer_number", "position", "shoots", "clusters", "struck_at"],
        unique=False,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_node_tally_key",
        "node_tally",
        ["sample", "row", "vine", "bearer", "bearer_number", "position"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "ix_cluster_tally_figures",
        "cluster_tally",
        ["sample", "row", "vine", "state", "clusters", "struck_at"],
        unique=False,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_cluster_tally_key",
        "cluster_tally",
        ["sample", "row", "vine"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_cluster_lot_key",
        "cluster_lot",
        ["sample", "stage", "lot"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_canopy_probe_key",
        "canopy_probe",
        ["sample", "transect", "probe"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_leaf_area_key",
        "leaf_area",
        ["sample", "row", "vine"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_maturity_sample_key",
        "maturity_sample",
        ["block", "date", "number"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_crop_estimate_key",
        "crop_estimate",
        ["block", "season", "date", "given_to"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "ix_vine_harvest_figures",
        "vine_harvest",
        ["sample", "row", "vine", "state", "mass_mg", "clusters", "struck_at"],
        unique=False,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_vine_harvest_key",
        "vine_harvest",
        ["sample", "row", "vine"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index("ix_load_consignee", "load", ["consignee"], unique=False, sqlite_where=LIVE, postgresql_where=LIVE)
    op.create_index("ix_load_vineyard", "load", ["vineyard"], unique=False, sqlite_where=LIVE, postgresql_where=LIVE)
    op.create_index(
        "uq_load_key", "load", ["issuer", "season", "number"], unique=True, sqlite_where=LIVE, postgresql_where=LIVE
    )
    op.create_index(
        "ix_load_part_block", "load_part", ["block"], unique=False, sqlite_where=LIVE, postgresql_where=LIVE
    )
    op.create_index(
        "uq_load_part_key",
        "load_part",
        ["load", "block", "pick"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_harvest_close_key",
        "harvest_close",
        ["block", "season"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
    op.create_index(
        "uq_event_key", "event", ["block", "date", "what"], unique=True, sqlite_where=LIVE, postgresql_where=LIVE
    )
