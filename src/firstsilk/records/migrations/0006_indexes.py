from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('records', '0005_field_season'),
    ]

    operations = [
        migrations.AddIndex(
            model_name='estimate',
            index=models.Index(fields=['station', 'line'], name='estimate_of_line'),
        ),
        migrations.AddIndex(
            model_name='lot',
            index=models.Index(fields=['station', 'line'], name='lot_of_line'),
        ),
        migrations.AddIndex(
            model_name='movement',
            index=models.Index(fields=['station', 'lot'], name='movement_of_lot'),
        ),
        migrations.AddIndex(
            model_name='note',
            index=models.Index(fields=['station', 'tag'], name='note_of_tag'),
        ),
        migrations.AddIndex(
            model_name='note',
            index=models.Index(condition=models.Q(('replaces__isnull', False)), fields=['station', 'replaces'], name='note_that_replaces'),
        ),
        migrations.AddIndex(
            model_name='plot',
            index=models.Index(fields=['station', 'entry'], name='plot_of_entry'),
        ),
        migrations.AddIndex(
            model_name='plotrecord',
            index=models.Index(fields=['station', 'plot'], name='record_of_plot'),
        ),
        migrations.AddIndex(
            model_name='reservation',
            index=models.Index(fields=['station', 'lot'], name='reservation_of_lot'),
        ),
        migrations.AddIndex(
            model_name='row',
            index=models.Index(fields=['station', 'line'], name='row_of_line'),
        ),
        migrations.AddIndex(
            model_name='verdict',
            index=models.Index(fields=['station', 'line'], name='verdict_of_line'),
        ),
    ]
